//! The client side of the message syntax of IEEE 488.2 and SCPI-1999.
//!
//! [`Message`] puts program message units together by the rules for `:` and `;`. [`Inbox`] cuts what comes back into
//! replies, whatever the device puts between them. [`Number`], [`Identity`] and [`ErrorEntry`] read what the replies
//! say; what they do not understand is an error with the text in it, never a value. Nothing here waits or sends.

mod inbox;
mod message;
mod number;
mod response;

pub use inbox::{Inbox, LONGEST_REPLY, Overlong};
pub use message::{Message, SyntaxError, Unit};
pub use number::{Number, NumberError, Suffix};
pub use response::{
    ErrorEntry, Identity, ResponseError, boolean, data_elements, register, response_units, shown,
};
