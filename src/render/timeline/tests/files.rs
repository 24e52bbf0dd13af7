//! What stands in the files: pixels against the data, and what PNG and SVG carry beside the picture.

use super::*;
use crate::trace::{EventKind, Header, Mode, Sample, TraceBuilder};

/// Rows of the topmost and lowest pixel of the trace's colour in each column of the amps panel, from the PNG itself.
fn drawn_extents(bytes: &[u8], area: Rect) -> Vec<Option<(i32, i32)>> {
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    let ink = Theme::Light.palette().ink;
    let is_ink = |x: i32, y: i32| {
        let at = usize::try_from(y).unwrap() * info.line_size + usize::try_from(x).unwrap() * 3;
        pixels[at..at + 3] == [ink.0, ink.1, ink.2]
    };
    let column = |x: i32| {
        let mut rows = (area.top..area.bottom).filter(|y| is_ink(x, *y));
        let first = rows.next()?;
        Some((first, rows.next_back().unwrap_or(first)))
    };
    (area.left..area.right).map(column).collect()
}

/// The picture's extents against the samples', column by column and counted here from the samples alone.
fn assert_drawn_as_read(count: u32) {
    // Slow swings, and single readings that stand out by far.
    let amps = |index: u32| {
        let swing = 0.5 + 0.3 * (f64::from(index) / f64::from(count) * 40.0).sin();
        if index % (count / 11) == 3 { 1.9 } else { swing }
    };
    let trace = trace(count, 60.0, amps);
    let mut finding = finding(vec![phase("run", 0.0, 60.0)]);
    finding.departures.clear();
    finding.verdict.class = Class::Inconclusive;
    let options = Options { format: Format::Png, ..Options::default() };
    let bytes = super::super::super::timeline(&trace, None, &finding, &options).unwrap();
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    // Where the panel stands is taken from the picture: the clip of the trace.
    let scene = draw(&trace, None, &finding, &options).unwrap();
    let (area, left) = scene
        .shapes
        .iter()
        .find_map(|shape| match shape {
            super::super::super::scene::Shape::Steps { clip, left, .. } => Some((*clip, *left)),
            _ => None,
        })
        .unwrap();
    let time = TimeAxis { left, right: area.right, from: 0.0, to: 60.0 };
    let scale = amps::Scale::new(&subject, &Readings::new(&subject, time));
    let axis = scale.main(area);
    let drawn = drawn_extents(&bytes, area);
    let mut read: Vec<(i32, i32)> = vec![(i32::MAX, i32::MIN); drawn.len()];
    let mut standing: Option<f64> = None;
    for (index, &value) in trace.amps().iter().enumerate() {
        let x = usize::try_from(time.x_within(trace.time()[index]) - left).unwrap();
        let from = index
            .checked_sub(1)
            .map_or(x, |i| usize::try_from(time.x_within(trace.time()[i]) - left).unwrap());
        for (column, values) in read[from..=x].iter_mut().zip(std::iter::repeat([standing, None])) {
            for value in values.into_iter().flatten() {
                *column = (column.0.min(axis.row(value)), column.1.max(axis.row(value)));
            }
        }
        read[x] = (read[x].0.min(axis.row(value)), read[x].1.max(axis.row(value)));
        standing = Some(value);
    }
    // The brush is two pixels wide: a column also shows its left and right neighbours, and half the brush more.
    let brush = 2;
    for (x, drawn) in drawn.iter().enumerate().skip(1).take(read.len() - 2) {
        let near = &read[x - 1..=x + 1];
        let (top, bottom) =
            (near.iter().map(|c| c.0).min().unwrap(), near.iter().map(|c| c.1).max().unwrap());
        let (drawn_top, drawn_bottom) = drawn.expect("a drawn column");
        assert!(drawn_top >= top - brush && drawn_bottom <= bottom + brush, "column {x}: an invented peak");
        assert!(drawn_top <= read[x].0 && drawn_bottom >= read[x].1 - 1, "column {x}: a lost peak");
    }
}

#[test]
fn six_hundred_readings_are_drawn_as_read() {
    assert_drawn_as_read(600);
}

#[test]
fn ten_million_readings_are_drawn_as_read() {
    assert_drawn_as_read(10_000_000);
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let trace = trace(600, 60.0, |index| f64::from(index % 97) / 60.0);
    let finding = finding(stages(5));
    for format in [Format::Png, Format::Svg] {
        let options = Options { format, ..Options::default() };
        let render = || super::super::super::timeline(&trace, None, &finding, &options).unwrap();
        assert_eq!(render(), render());
    }
}

#[test]
fn a_png_carries_its_density_and_title() {
    let trace = trace(600, 60.0, |_| 0.5);
    let options = Options { dpi: Some(300), ..Options::default() };
    let bytes = super::super::super::timeline(&trace, None, &finding(stages(5)), &options).unwrap();
    let reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().unwrap();
    // 300 dots per inch are 11811 per metre.
    assert_eq!(reader.info().pixel_dims.unwrap().xppu, 11811);
    let title = &reader.info().uncompressed_latin1_text[0];
    assert_eq!(title.keyword, "Title");
    assert!(title.text.ends_with("FE-0231: Stalled in stage 3"), "{}", title.text);
}

#[test]
fn an_svg_has_real_text_a_title_and_a_description() {
    let trace = trace(600, 60.0, |_| 0.5);
    let mut finding = finding(stages(5));
    finding.log.ticket = Some("<T> & \"co\"".into());
    let options = Options { format: Format::Svg, ..Options::default() };
    let text =
        String::from_utf8(super::super::super::timeline(&trace, None, &finding, &options).unwrap()).unwrap();
    assert!(text.contains("<title id=\"title\">") && text.contains("<desc id=\"desc\">Stalled in stage 3."));
    assert!(text.contains("&lt;T&gt; &amp; &quot;co&quot;") && !text.contains("<T>"));
}

#[test]
fn a_stretch_that_is_not_there_is_refused_with_what_there_is() {
    let trace = trace(600, 60.0, |_| 0.5);
    let finding = finding(stages(2));
    let refused = |options: Options| draw(&trace, None, &finding, &options).unwrap_err().to_string();
    let beyond = Options { from: Seconds::new(70.0).ok(), ..Options::default() };
    assert_eq!(refused(beyond), "no readings from 70 s to 60 s; the log runs from 0 s to 60 s");
    let misnamed = Options { zoom: Some("stag".into()), ..Options::default() };
    assert_eq!(refused(misnamed), "no phase \"stag\" to zoom to; this log has: stage 0, stage 1");
    assert!(draw(&Trace::default(), None, &finding, &Options::default()).is_err());
}

#[test]
fn the_vectors_of_a_long_log_are_no_more_than_a_picture_has_room_for() {
    // Five thousand times on and off: in each column of the figure several events and phases.
    const RUNS: u32 = 5000;
    let header = Header { limit: Amps::new(3.0).ok(), ..Header::default() };
    let mut builder = TraceBuilder::new(header);
    let mut phases = Vec::new();
    for run in (0..RUNS).map(|run| f64::from(run) * 10.0) {
        for (after, volts, amps, mode, event) in [
            (0.0, 0.0, 0.0, Mode::Off, None),
            (2.0, 12.8, 0.5, Mode::ConstantVoltage, Some(EventKind::OutputOn)),
            (4.5, 6.0, 3.0, Mode::ConstantCurrent, None),
            (7.0, 0.0, 0.0, Mode::Off, Some(EventKind::OutputOff)),
        ] {
            let time = Seconds::constant(run + after);
            let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
            builder.sample(Sample { time, volts, amps, mode, span: None }).unwrap();
            if let Some(kind) = event {
                builder.event(time, kind).unwrap();
            }
        }
        phases.extend([phase("off", run, run + 2.0), phase("run", run + 2.0, run + 7.0)]);
    }
    let mut finding = finding(phases);
    finding.verdict.class = Class::Inconclusive;
    let options = Options { format: Format::Svg, ..Options::default() };
    let bytes = super::super::super::timeline(&builder.finish(), None, &finding, &options).unwrap();
    // A figure of this size is some 1500 columns wide; a viewer opens some thousands of elements at once.
    assert!(bytes.len() < 1_500_000, "{} bytes", bytes.len());
}
