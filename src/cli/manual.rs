//! `feedtale manual`: the man page.

use super::output::print;
use super::{CommandLine, Failure, Outcome};
use clap::{Command, CommandFactory as _};
use clap_mangen::Man;

/// Print the man page, every command in it: `feedtale manual | man -l -`.
pub(super) fn run() -> Result<Outcome, Failure> {
    let page = page().map_err(|error| Failure::Input(format!("cannot make the man page: {error}")))?;
    print(&page)?;
    Ok(Outcome::Done)
}

fn page() -> std::io::Result<Vec<u8>> {
    let mut program = CommandLine::command();
    program.build();
    let mut page = Vec::new();
    let man = Man::new(program.clone());
    man.render_title(&mut page)?;
    man.render_name_section(&mut page)?;
    man.render_synopsis_section(&mut page)?;
    man.render_description_section(&mut page)?;
    program
        .get_subcommands()
        .filter(|command| !command.is_hide_set())
        .try_for_each(|command| section(command, &mut page))?;
    man.render_version_section(&mut page)?;
    Ok(page)
}

/// One command as a section of the page.
fn section(command: &Command, page: &mut Vec<u8>) -> std::io::Result<()> {
    use std::io::Write as _;
    let man = Man::new(command.clone());
    writeln!(page, ".SH \"FEEDTALE {}\"", command.get_name().to_uppercase())?;
    for render in [Man::render_synopsis_section, Man::render_description_section, Man::render_options_section]
    {
        let mut part = Vec::new();
        render(&man, &mut part)?;
        // Sections of the command become subsections of the page.
        page.extend_from_slice(String::from_utf8_lossy(&part).replace(".SH ", ".SS ").as_bytes());
    }
    Ok(())
}
