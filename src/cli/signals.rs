//! Ctrl-C, termination and a closed terminal: told to whatever is running, which ends in its own good order.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};

/// What to do when a signal asks the program to end.
type Action = Box<dyn Fn() + Send>;

static ACTION: Mutex<Option<Action>> = Mutex::new(None);
static ASKED: AtomicBool = AtomicBool::new(false);

/// From now on SIGINT, SIGTERM and SIGHUP (Ctrl-C, Ctrl-Break and a closed console elsewhere) do not kill the program:
/// [`asked_to_end`] says that one came. May be called any number of times.
///
/// # Errors
/// When the system does not let signals be caught.
pub(super) fn catch() -> Result<(), String> {
    match ctrlc::set_handler(heard) {
        Ok(()) | Err(ctrlc::Error::MultipleHandlers) => Ok(()),
        Err(error) => Err(format!("signals cannot be caught: {error}")),
    }
}

/// Whether a signal asked the program to end.
pub(super) fn asked_to_end() -> bool {
    ASKED.load(Ordering::SeqCst)
}

/// Does `action` when a signal comes; at once if one came already.
pub(super) fn then(action: impl Fn() + Send + 'static) {
    let mut slot = ACTION.lock().unwrap_or_else(PoisonError::into_inner);
    if asked_to_end() {
        action();
    }
    *slot = Some(Box::new(action));
}

fn heard() {
    let slot = ACTION.lock().unwrap_or_else(PoisonError::into_inner);
    ASKED.store(true, Ordering::SeqCst);
    if let Some(action) = slot.as_ref() {
        action();
    }
}
