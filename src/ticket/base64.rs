//! Bytes as text, for a picture that travels inside a page (RFC 4648, section 4).

const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

pub(super) fn encode(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let byte = |index: usize| u32::from(group.get(index).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for place in 0..4 {
            let sextet = (bits >> (18 - 6 * place) & 63) as usize;
            text.push(if place <= group.len() { char::from(ALPHABET[sextet]) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::encode;

    /// RFC 4648, section 10.
    #[test]
    fn the_test_vectors_of_the_standard_come_out() {
        let vectors = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (bytes, text) in vectors {
            assert_eq!(encode(bytes.as_bytes()), text);
        }
    }

    #[test]
    fn the_last_two_letters_of_the_alphabet_are_plus_and_slash() {
        assert_eq!(encode(&[0xfb, 0xff, 0xbf]), "+/+/");
    }
}
