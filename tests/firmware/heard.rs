//! What came over the wire, read by the letter of the protocol and by nothing of the program's.

/// A sample as it was sent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    pub seq: u32,
    pub micros: u32,
    /// Tenths of rev/min.
    pub rpm_tenths: Option<u32>,
    pub codes: [u32; 2],
}

/// Everything that came, in its order.
#[derive(Debug, Clone, Default)]
pub struct Heard {
    pub samples: Vec<Sample>,
    /// Each with the number of samples that came before it.
    pub infos: Vec<(usize, String)>,
    pub answers: Vec<(usize, String)>,
    /// Lines that are no sound sentence.
    pub garbled: Vec<String>,
}

impl Heard {
    /// Reads all lines; the last may be cut off by the end of the drive and is then left out.
    pub fn read(text: &str) -> Heard {
        let mut heard = Heard::default();
        for line in text.split_inclusive('\n').filter_map(|line| line.strip_suffix('\n')) {
            let before = heard.samples.len();
            match bare(line) {
                Some(words) if words.starts_with("EBI,") => {
                    heard.infos.push((before, words.into()))
                }
                Some(words) if words.starts_with("EBA,") => {
                    heard.answers.push((before, words.into()))
                }
                words => match words.and_then(sample) {
                    Some(sample) => heard.samples.push(sample),
                    None => heard.garbled.push(line.into()),
                },
            }
        }
        heard
    }

    /// Steps of (seq, micros) from each sample to the next, modulo their wraps.
    pub fn steps(&self) -> Vec<(u32, u32)> {
        let step = |a: &Sample, b: &Sample| {
            ((b.seq + 65_536 - a.seq) % 65_536, b.micros.wrapping_sub(a.micros))
        };
        self.samples.windows(2).map(|pair| step(&pair[0], &pair[1])).collect()
    }
}

/// What stands between `$` and `*`, when the two digits after it are the XOR of its characters.
fn bare(line: &str) -> Option<&str> {
    let (words, digits) = line.strip_prefix('$')?.split_once('*')?;
    let xor = words.bytes().fold(0, |xor, byte| xor ^ byte);
    (digits == format!("{xor:02X}")).then_some(words)
}

fn sample(words: &str) -> Option<Sample> {
    let fields: Vec<&str> = words.strip_prefix("EBP,")?.split(',').collect();
    let [seq, micros, rpm, code1, code2] = fields[..] else { return None };
    let rpm_tenths = if rpm.is_empty() { None } else { Some(rpm.parse().ok()?) };
    let codes = [code1.parse().ok()?, code2.parse().ok()?];
    Some(Sample { seq: seq.parse().ok()?, micros: micros.parse().ok()?, rpm_tenths, codes })
}

/// A sentence as a host writes it, without the end of its line.
pub fn sentence(words: &str) -> String {
    let xor = words.bytes().fold(0, |xor, byte| xor ^ byte);
    format!("${words}*{xor:02X}")
}
