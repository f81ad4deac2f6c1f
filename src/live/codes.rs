//! Codes in the address of a shared page: who has one may see, who has the other may press.
//!
//! They come from the system's own randomness and not from the seeded generator of everything else:
//! a code that another run can repeat is a code that another person can guess. Nothing that is
//! measured depends on them.

use getrandom::fill;
use std::fmt;

/// Signs of a code: no two that look alike on a screen three metres away (no i, l, o, u).
const SIGNS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
/// Signs in a code. Five bits each: at 10,000 guesses a second, half of the 2^60 take a million years.
const LENGTH: usize = 12;

/// A code, made anew at every start and good until the program ends.
#[derive(Clone, PartialEq, Eq)]
pub struct Code(String);

/// What the codes of a page are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Codes {
    /// Needed to see.
    pub see: Code,
    /// Needed to press.
    pub press: Code,
}

impl Codes {
    /// New ones.
    ///
    /// # Errors
    /// The system gives no randomness.
    pub fn new() -> Result<Codes, String> {
        Ok(Codes { see: Code::new()?, press: Code::new()? })
    }
}

impl Code {
    fn new() -> Result<Code, String> {
        let mut bytes = [0; LENGTH];
        fill(&mut bytes).map_err(|error| error.to_string())?;
        // 256 is a multiple of 32, so every sign is as likely as every other.
        Ok(Code(bytes.iter().map(|byte| char::from(SIGNS[usize::from(byte % 32)])).collect()))
    }

    /// The signs.
    pub fn signs(&self) -> &str {
        &self.0
    }

    /// True for the same signs. The time it takes does not tell how many of them were right.
    pub fn is(&self, given: &str) -> bool {
        let same = |(a, b): (u8, u8)| a ^ b;
        given.len() == self.0.len()
            && self.0.bytes().zip(given.bytes()).map(same).fold(0, |all, one| all | one) == 0
    }
}

impl fmt::Debug for Code {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.write_str("Code(..)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn codes_differ_and_only_the_whole_one_fits() {
        let codes: Vec<Code> = (0..1000).map(|_| Code::new().unwrap()).collect();
        let different: BTreeSet<&str> = codes.iter().map(Code::signs).collect();
        assert_eq!(different.len(), 1000);
        let (one, two) = (&codes[0], &codes[1]);
        assert!(one.is(one.signs()) && !one.is(two.signs()) && !one.is(""));
        assert!(!one.is(&one.signs()[..LENGTH - 1]));
        let seen: BTreeSet<char> = different.iter().flat_map(|code| code.chars()).collect();
        assert_eq!(seen.len(), 32, "every sign occurs");
        assert!(!format!("{one:?}").contains(one.signs()), "a code is not for logs");
    }
}
