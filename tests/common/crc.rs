//! The sum that ends a chunk of a PNG.

/// CRC-32 (PNG, annex D).
pub fn crc(bytes: &[u8]) -> u32 {
    let step = |crc: u32, byte: &u8| {
        (0..8).fold(
            crc ^ u32::from(*byte),
            |crc, _| if crc & 1 == 1 { 0xedb8_8320 ^ (crc >> 1) } else { crc >> 1 },
        )
    };
    !bytes.iter().fold(u32::MAX, step)
}
