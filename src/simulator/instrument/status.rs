//! Status reporting: IEEE 488.2-1992 §11 and SCPI-1999 volume 1 §9.

use super::message::Complaint;
use std::collections::VecDeque;

/// How many errors the queue holds, the overflow mark included (the standard asks for two at least).
const QUEUE_LENGTH: usize = 16;

/// Bits of the standard event status register (IEEE 488.2 §11.5.1).
mod event {
    pub(super) const OPERATION_COMPLETE: u8 = 1 << 0;
    pub(super) const QUERY_ERROR: u8 = 1 << 2;
    pub(super) const DEVICE_ERROR: u8 = 1 << 3;
    pub(super) const EXECUTION_ERROR: u8 = 1 << 4;
    pub(super) const COMMAND_ERROR: u8 = 1 << 5;
    pub(super) const POWER_ON: u8 = 1 << 7;
}

/// Bits of the status byte (IEEE 488.2 §11.2, SCPI-1999 volume 1 §9.2).
mod byte {
    pub(super) const ERROR_AVAILABLE: u8 = 1 << 2;
    pub(super) const QUESTIONABLE: u8 = 1 << 3;
    pub(super) const MESSAGE_AVAILABLE: u8 = 1 << 4;
    pub(super) const EVENT_SUMMARY: u8 = 1 << 5;
    pub(super) const MASTER_SUMMARY: u8 = 1 << 6;
    pub(super) const OPERATION: u8 = 1 << 7;
}

/// A condition register with the events latched from it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Register {
    /// What holds now.
    pub(super) condition: u16,
    /// What began to hold since it was last read.
    pub(super) event: u16,
    /// Which events count in the status byte.
    pub(super) enable: u16,
}

impl Register {
    /// Takes a new condition: rising bits become events.
    pub(super) fn update(&mut self, condition: u16) {
        self.event |= condition & !self.condition;
        self.condition = condition;
    }

    /// Reads and clears the events.
    pub(super) fn take_event(&mut self) -> u16 {
        std::mem::take(&mut self.event)
    }

    fn summary(self) -> bool {
        self.event & self.enable != 0
    }
}

/// Everything that the supply reports of itself.
#[derive(Debug, Clone)]
pub(super) struct Status {
    errors: VecDeque<Complaint>,
    events: u8,
    pub(super) event_enable: u8,
    pub(super) service_enable: u8,
    pub(super) questionable: Register,
    pub(super) operation: Register,
}

impl Status {
    /// As it is after power-on.
    pub(super) fn new() -> Self {
        Self {
            errors: VecDeque::new(),
            events: event::POWER_ON,
            event_enable: 0,
            service_enable: 0,
            questionable: Register::default(),
            operation: Register::default(),
        }
    }

    /// Puts an error into the queue and its class into the event register.
    ///
    /// A full queue keeps what came first and marks the loss with -350 (SCPI-1999 volume 2 §21.8.1).
    pub(super) fn complain(&mut self, complaint: Complaint) {
        self.events |= match complaint.0 {
            -199..=-100 => event::COMMAND_ERROR,
            -299..=-200 => event::EXECUTION_ERROR,
            -499..=-400 => event::QUERY_ERROR,
            _ => event::DEVICE_ERROR,
        };
        if self.errors.len() < QUEUE_LENGTH {
            self.errors.push_back(complaint);
        } else if let Some(last) = self.errors.back_mut() {
            *last = Complaint::QUEUE_OVERFLOW;
            self.events |= event::DEVICE_ERROR;
        }
    }

    /// Takes the oldest error; no error is number 0.
    pub(super) fn next_error(&mut self) -> Complaint {
        self.errors.pop_front().unwrap_or(Complaint(0))
    }

    pub(super) fn error_count(&self) -> usize {
        self.errors.len()
    }

    pub(super) fn operation_complete(&mut self) {
        self.events |= event::OPERATION_COMPLETE;
    }

    /// Reads and clears the event register.
    pub(super) fn take_events(&mut self) -> u8 {
        std::mem::take(&mut self.events)
    }

    /// `*CLS`: clears every event and the error queue, and leaves the enable registers.
    pub(super) fn clear(&mut self) {
        self.errors.clear();
        self.events = 0;
        self.questionable.event = 0;
        self.operation.event = 0;
    }

    /// `STATus:PRESet`: clears the enable registers of SCPI, not those of IEEE 488.2.
    pub(super) fn preset(&mut self) {
        self.questionable.enable = 0;
        self.operation.enable = 0;
    }

    /// The status byte; `message_available` if an answer waits.
    pub(super) fn byte(&self, message_available: bool) -> u8 {
        let bit = |holds: bool, bit: u8| if holds { bit } else { 0 };
        let summaries = bit(!self.errors.is_empty(), byte::ERROR_AVAILABLE)
            | bit(self.questionable.summary(), byte::QUESTIONABLE)
            | bit(message_available, byte::MESSAGE_AVAILABLE)
            | bit(self.events & self.event_enable != 0, byte::EVENT_SUMMARY)
            | bit(self.operation.summary(), byte::OPERATION);
        summaries | bit(summaries & self.service_enable != 0, byte::MASTER_SUMMARY)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_queue_keeps_the_oldest_and_ends_in_minus_350() {
        let mut status = Status::new();
        for _ in 0..40 {
            status.complain(Complaint::UNDEFINED_HEADER);
        }
        let numbers: Vec<i16> =
            std::iter::from_fn(|| Some(status.next_error().0).filter(|n| *n != 0)).collect();
        assert_eq!(numbers.len(), QUEUE_LENGTH);
        assert_eq!((numbers[0], numbers[QUEUE_LENGTH - 1]), (-113, -350));
    }

    #[test]
    fn each_class_of_error_has_its_event_bit() {
        // IEEE 488.2 §11.5.1.1: query error 4, device error 8, execution error 16, command error 32, power on 128.
        let mut status = Status::new();
        assert_eq!(status.take_events(), 128);
        for (number, bit) in [(-113, 32), (-222, 16), (-350, 8), (-440, 4)] {
            status.complain(Complaint(number));
            assert_eq!(status.take_events(), bit);
        }
        assert_eq!(status.take_events(), 0);
    }

    #[test]
    fn the_status_byte_sums_up_what_is_enabled() {
        let mut status = Status::new();
        status.take_events();
        status.complain(Complaint::UNDEFINED_HEADER);
        assert_eq!(status.byte(false), 4);
        status.event_enable = 32;
        assert_eq!(status.byte(true), 4 + 16 + 32);
        status.service_enable = 32;
        assert_eq!(status.byte(false), 4 + 32 + 64);
        status.clear();
        assert_eq!(status.byte(false), 0);
    }

    #[test]
    fn a_condition_that_begins_is_an_event_once() {
        let mut register = Register::default();
        register.update(2);
        register.update(2);
        assert_eq!((register.take_event(), register.take_event(), register.condition), (2, 0, 2));
    }
}
