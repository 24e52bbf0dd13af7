//! From the bytes of a foreign file to text.

use super::{ConvertError, MOST_BYTES, read_up_to};

/// Signature of a gzip member, RFC 1952 section 2.3.1.
const GZIP: [u8; 2] = [0x1F, 0x8B];
/// How many bytes tell whether text without a mark is UTF-16.
const FIRST_LOOK: usize = 4096;

/// The text of a file, and what had to be assumed to read it.
pub(super) fn decode(bytes: &[u8], assumed: &mut Vec<String>) -> Result<String, ConvertError> {
    if bytes.starts_with(&GZIP) {
        assumed.push("the file is packed with gzip and was unpacked".into());
        return decode_plain(&unpack(bytes, MOST_BYTES)?, assumed);
    }
    decode_plain(bytes, assumed)
}

fn unpack(bytes: &[u8], most: u64) -> Result<Vec<u8>, ConvertError> {
    let unpacked = read_up_to(flate2::read::MultiGzDecoder::new(bytes), most);
    unpacked.map_err(|error| ConvertError::Packed(error.to_string()))?.ok_or(ConvertError::TooLong { most })
}

fn decode_plain(bytes: &[u8], assumed: &mut Vec<String>) -> Result<String, ConvertError> {
    if let Some(units) = utf16(bytes) {
        assumed.push("the file is UTF-16 text".into());
        let text: Result<String, _> = char::decode_utf16(units).collect();
        return text.map_err(|_| ConvertError::NotText("broken UTF-16"));
    }
    let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    if bytes.contains(&0) {
        return Err(ConvertError::NotText("a binary file"));
    }
    if let Ok(text) = std::str::from_utf8(bytes) {
        return Ok(text.to_owned());
    }
    assumed.push("the file is not UTF-8 text and was read as Latin-1".into());
    Ok(bytes.iter().copied().map(char::from).collect())
}

/// The code units of UTF-16 text, known by its byte-order mark or by the zeros that make up half of it.
fn utf16(bytes: &[u8]) -> Option<Vec<u16>> {
    let first = &bytes[..bytes.len().min(FIRST_LOOK) & !1];
    let zeros = |odd: usize| first.iter().skip(odd).step_by(2).filter(|byte| **byte == 0).count();
    let most = first.len() * 2 / 5;
    let (content, little) = match bytes {
        [0xFF, 0xFE, content @ ..] => (content, true),
        [0xFE, 0xFF, content @ ..] => (content, false),
        _ if most > 0 && zeros(1) > most && zeros(0) == 0 => (bytes, true),
        _ if most > 0 && zeros(0) > most && zeros(1) == 0 => (bytes, false),
        _ => return None,
    };
    let order = if little { u16::from_le_bytes } else { u16::from_be_bytes };
    let unit = |pair: &[u8]| order([pair[0], pair[1]]);
    Some(content.chunks_exact(2).map(unit).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{Read as _, Write as _};

    fn text_of(bytes: &[u8]) -> (String, usize) {
        let mut assumed = Vec::new();
        (decode(bytes, &mut assumed).unwrap(), assumed.len())
    }

    #[test]
    fn every_encoding_gives_the_same_text() {
        let text = "t,I (µA)\n1,2\n";
        let little: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let big: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        let latin: Vec<u8> = text.chars().map(|c| c as u8).collect();
        let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        packed.write_all(text.as_bytes()).unwrap();
        assert_eq!(text_of(text.as_bytes()), (text.into(), 0));
        assert_eq!(text_of(format!("\u{feff}{text}").as_bytes()), (text.into(), 0));
        for bytes in
            [[&[0xFF, 0xFE][..], &little].concat(), [&[0xFE, 0xFF][..], &big].concat(), little, big, latin]
        {
            assert_eq!(text_of(&bytes), (text.into(), 1));
        }
        assert_eq!(text_of(&packed.finish().unwrap()), (text.into(), 1));
    }

    #[test]
    fn what_has_no_end_is_given_up() {
        assert_eq!(read_up_to(std::io::repeat(b'0'), 1000).unwrap(), None);
        assert_eq!(read_up_to(std::io::repeat(b'0').take(1000), 1000).unwrap().unwrap().len(), 1000);
        let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        packed.write_all(&[b'0'; 1001]).unwrap();
        let packed = packed.finish().unwrap();
        assert_eq!(unpack(&packed, 1001).unwrap().len(), 1001);
        assert_eq!(unpack(&packed, 1000), Err(ConvertError::TooLong { most: 1000 }));
    }

    #[test]
    fn what_is_no_text_is_refused() {
        assert!(matches!(decode(b"\x7fELF\0\x01\0", &mut Vec::new()), Err(ConvertError::NotText(_))));
        assert!(matches!(decode(&[0x1F, 0x8B, 8, 0], &mut Vec::new()), Err(ConvertError::Packed(_))));
    }
}
