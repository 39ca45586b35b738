//! Evidence that a frame arrived whole.

/// How a checksum is reckoned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Algorithm {
    /// Exclusive or of all bytes.
    Xor8,
    /// Sum of all bytes, modulo 256.
    Sum8,
    /// CRC-16 with polynomial 0x1021 and start value 0xFFFF: `CRC-16/IBM-3740` in the
    /// catalogue of parametrised CRC algorithms, widely called CCITT-FALSE.
    Crc16CcittFalse,
    /// CRC-16 with polynomial 0x1021 and start value 0: `CRC-16/XMODEM` in the catalogue.
    Crc16Xmodem,
}

/// How a checksum is written in the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Written {
    /// Hex digits, two for each byte, in either case.
    Hex,
    /// Bytes, the high one first.
    Raw,
    /// Bytes, the low one first.
    RawLowFirst,
}

const CCITT_FALSE: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740);
const XMODEM: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_XMODEM);

impl Algorithm {
    /// The checksum of `bytes`.
    pub fn of(self, bytes: &[u8]) -> u16 {
        match self {
            Self::Xor8 => u16::from(bytes.iter().fold(0, |sum, byte| sum ^ byte)),
            Self::Sum8 => u16::from(bytes.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte))),
            Self::Crc16CcittFalse => CCITT_FALSE.checksum(bytes),
            Self::Crc16Xmodem => XMODEM.checksum(bytes),
        }
    }

    /// How many bytes the checksum itself has, before it is written.
    pub fn width(self) -> usize {
        match self {
            Self::Xor8 | Self::Sum8 => 1,
            Self::Crc16CcittFalse | Self::Crc16Xmodem => 2,
        }
    }
}

impl Written {
    /// How many bytes of the frame a checksum by `algorithm` takes.
    pub fn length(self, algorithm: Algorithm) -> usize {
        match self {
            Self::Hex => 2 * algorithm.width(),
            Self::Raw | Self::RawLowFirst => algorithm.width(),
        }
    }

    /// The checksum that `bytes` write, if they do.
    pub fn read(self, bytes: &[u8]) -> Option<u16> {
        match self {
            Self::Hex => {
                if !bytes.iter().all(u8::is_ascii_hexdigit) {
                    return None;
                }
                u16::from_str_radix(std::str::from_utf8(bytes).ok()?, 16).ok()
            }
            Self::Raw => Some(bytes.iter().fold(0, |sum, byte| sum << 8 | u16::from(*byte))),
            Self::RawLowFirst => Some(bytes.iter().rev().fold(0, |sum, byte| sum << 8 | u16::from(*byte))),
        }
    }

    /// `sum` as it stands in a frame, in the notation's words for a message.
    pub(crate) fn show(self, algorithm: Algorithm, sum: u16) -> String {
        let hex = format!("{sum:0width$X}", width = 2 * algorithm.width());
        match self {
            Self::Hex => format!("checksum {hex}"),
            Self::Raw => format!("checksum bytes {hex} (hex)"),
            Self::RawLowFirst => format!("checksum bytes {hex} (hex), low byte first"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHECK: &[u8] = b"123456789";

    #[test]
    fn published_check_values() {
        // "check" values of the catalogue of parametrised CRC algorithms (reveng, 16-bit page).
        assert_eq!(Algorithm::Crc16CcittFalse.of(CHECK), 0x29b1);
        assert_eq!(Algorithm::Crc16Xmodem.of(CHECK), 0x31c3);
    }

    #[test]
    fn eight_bit_sums_worked_by_hand() {
        // The digits' codes are 0x31 to 0x39: their sum is 0x1dd, their exclusive or 0x31.
        assert_eq!(Algorithm::Sum8.of(CHECK), 0xdd);
        assert_eq!(Algorithm::Xor8.of(CHECK), 0x31);
    }

    #[test]
    fn every_form_reads_what_it_writes() {
        assert_eq!(Written::Hex.read(b"29b1"), Some(0x29b1));
        assert_eq!(Written::Hex.read(b"29B1"), Some(0x29b1));
        assert_eq!(Written::Hex.read(b"+9B1"), None);
        assert_eq!(Written::Raw.read(&[0x29, 0xb1]), Some(0x29b1));
        assert_eq!(Written::RawLowFirst.read(&[0xb1, 0x29]), Some(0x29b1));
        assert_eq!(Written::Hex.length(Algorithm::Xor8), 2);
        assert_eq!(Written::Raw.length(Algorithm::Crc16Xmodem), 2);
    }
}
