//! Random replies through the reader: the bounded form of what `examples/link_report` does ten million times.

#[path = "../examples/link_report/replies.rs"]
mod replies;

#[test]
fn no_random_reply_is_a_wrong_number_or_spoils_the_next() {
    let tally = replies::run(60_000, 20_260_302).unwrap();
    assert_eq!((tally.replies, tally.wrong, tally.after_wrong), (60_000, 0, 0), "{tally:?}");
    assert!(tally.understood > 5_000, "most of it must come near to a reading: {tally:?}");
}
