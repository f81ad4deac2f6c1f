//! What comes out of a source: samples, and everything that kept one from coming.

/// What a box says of itself: what its codes mean.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxInfo {
    /// Its name.
    pub name: String,
    /// Version of its firmware.
    pub version: String,
    /// Bits of a code: the highest code is `2^adc_bits - 1`.
    pub adc_bits: u32,
    /// Voltage of code `2^adc_bits`, mV.
    pub vref_mv: f64,
    /// Part numbers of sensor 1 and sensor 2.
    pub sensors: [String; 2],
    /// Samples a second.
    pub sample_hz: f64,
}

/// A sample as the source gave it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Time of the device, unwrapped, from its first sample, s.
    pub time_s: f64,
    /// When it arrived: the host's monotonic clock, from the start, s.
    pub host_s: f64,
    /// Sequence number, unwrapped; absent for plain number lines.
    pub seq: Option<u64>,
    /// Engine speed, rev/min.
    pub rpm: Option<f64>,
    /// Sensor 1, sensor 2, crankcase: codes of the converter, or numbers as they came.
    pub readings: [Option<f64>; 3],
}

/// What the numbers of plain lines are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Columns {
    /// Both pressures are absolute; else they are vacuum below atmosphere.
    pub absolute: bool,
    /// There is a column for the crankcase.
    pub crank: bool,
    /// The heading named the pressures in kPa; else their unit has to be known otherwise.
    pub named: bool,
    /// The only sensor, 0 or 1, where the lines have a column for one alone.
    pub one_sensor: Option<usize>,
    /// Ticks of the time field in a second: 1, 1000 or 1,000,000.
    pub ticks_per_s: f64,
}

/// Why something that was heard is no sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rejection {
    /// A torn line, a wrong checksum, noise.
    Garbled,
    /// A right checksum about numbers that fit neither what came before nor what came after.
    Implausible,
    /// A sentence that had come already, or that came after its successors.
    Repeated,
    /// A sentence of another kind.
    Unknown,
}

/// Something from a source, in the order of arrival.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A sample.
    Sample(Sample),
    /// So many sentences before the next sample never came.
    Lost(u64),
    /// Something that is no sample.
    Rejected(Rejection),
    /// The box has begun anew; its clock was joined by the host's.
    Restarted,
    /// The box says what it is.
    Info(BoxInfo),
    /// The box answers a command: the words after its name.
    Answer(String),
    /// The numbers of plain lines are these; comes before the first of them.
    Columns(Columns),
    /// A mark that the source brings along, at the sample that follows.
    Mark(String),
    /// Nothing comes any more, at a time of the host's clock, s, and why.
    LinkLost {
        /// Host time of the last byte, s.
        host_s: f64,
        /// What was seen.
        why: String,
    },
    /// It comes again.
    LinkBack {
        /// Host time, s.
        host_s: f64,
        /// Name of the port.
        port: String,
    },
    /// Bytes were heard so far, whatever was in them; lets silence be told from noise.
    Heard {
        /// Host time, s.
        host_s: f64,
        /// How many in this piece.
        bytes: usize,
    },
    /// The source has no more.
    Ended,
}
