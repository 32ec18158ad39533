//! What makes broken input: a seeded mutator of valid input, and a reader that turns bytes into figures.

use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::time::{Duration, Instant};

/// Targets that share the time.
pub const TARGETS: u32 = 10;
/// Inputs of one target when nobody asks for more time.
const INPUTS: u32 = 20_000;

/// SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", 2014).
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// From 0 to `n` - 1; 0 when `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n.max(1) as u64).unwrap()
    }
}

/// What breaks readers of numbers, texts, tables and JSON.
const TOKENS: [&str; 40] = [
    "0",
    "-1",
    "-0",
    "1e308",
    "-1e308",
    "1e-308",
    "0.0005",
    "99999999999999999999",
    "32767",
    "32768",
    "-32768",
    "65536",
    "NaN",
    "null",
    "true",
    "\"\"",
    "[]",
    "{}",
    "[[[[",
    "\u{0}",
    "\u{feff}",
    "é",
    "😀",
    "\u{202e}",
    "\"",
    "\\",
    "\n",
    "\r\n",
    ",",
    ";",
    "|",
    "=1+1",
    "'=",
    "2026-02-30",
    "0000-01-01",
    "9999-12-31",
    "-262144-01-01",
    "\\u0000",
    "\\ud800",
    " ",
];

fn mutate(dice: &mut Dice, corpus: &[&[u8]]) -> Vec<u8> {
    let mut bytes = corpus[dice.below(corpus.len())].to_vec();
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len() + 1);
        let end = (at + dice.below(12)).min(bytes.len());
        match dice.below(9) {
            0 if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            1 if at < bytes.len() => bytes[at] = u8::try_from(dice.below(256)).unwrap(),
            2 => drop(bytes.drain(at..end)),
            3 => {
                let again = bytes[at..end].to_vec();
                bytes.splice(at..at, again);
            }
            4 => {
                let other = corpus[dice.below(corpus.len())];
                let from = dice.below(other.len() + 1);
                let to = (from + dice.below(40)).min(other.len());
                bytes.splice(at..end, other[from..to].iter().copied());
            }
            5 => drop(bytes.splice(at..at, TOKENS[dice.below(TOKENS.len())].bytes())),
            6 => number(dice, &mut bytes),
            7 => bytes.truncate(at),
            _ => drop(bytes.splice(at..end, TOKENS[dice.below(TOKENS.len())].bytes())),
        }
    }
    bytes
}

/// Replaces a number of the text by another.
fn number(dice: &mut Dice, bytes: &mut Vec<u8>) {
    let digit = |at: &usize| bytes[*at].is_ascii_digit();
    let places: Vec<usize> = (0..bytes.len()).filter(digit).collect();
    if places.is_empty() {
        return;
    }
    let from = places[dice.below(places.len())];
    let to = (from..bytes.len()).find(|at| !bytes[*at].is_ascii_digit() && bytes[*at] != b'.').unwrap_or(bytes.len());
    let other = match dice.below(4) {
        0 => format!("{}", dice.below(30)),
        1 => format!("{}.{}", dice.below(12), dice.below(1_000)),
        2 => format!("-{}", dice.below(30)),
        _ => TOKENS[dice.below(12)].to_owned(),
    };
    bytes.splice(from..to, other.bytes());
}

/// Random bytes, some of them runs of one byte, so that extremes come up.
fn noise(dice: &mut Dice) -> Vec<u8> {
    let length = dice.below(1_200);
    let mut bytes = Vec::with_capacity(length);
    while bytes.len() < length {
        let byte = u8::try_from(dice.below(256)).unwrap();
        match dice.below(24) {
            0 => bytes.extend(std::iter::repeat_n(0, 8)),
            1 => bytes.extend(std::iter::repeat_n(255, 8)),
            _ => bytes.push(byte),
        }
    }
    bytes
}

/// Feeds a target with its corpus, then with broken input, until the count or the time is used up.
///
/// Without a corpus the input is noise. A failure prints the input. The target says whether it accepted the input, and
/// some must be: a target that refuses everything checks nothing.
pub fn fuzz(name: &str, corpus: &[&[u8]], target: impl Fn(&[u8]) -> bool) {
    let asked = std::env::var("LANEWRIGHT_FUZZ_SECONDS").ok().and_then(|text| text.parse::<u64>().ok());
    let until = Instant::now() + Duration::from_secs(asked.unwrap_or(10)) / TARGETS;
    let inputs = asked.map_or(INPUTS, |_| u32::MAX);
    let mut dice = Dice(name.bytes().fold(0, |seed, byte| seed.wrapping_mul(31) + u64::from(byte)));
    let run = |input: &[u8]| match catch_unwind(AssertUnwindSafe(|| target(input))) {
        Ok(accepted) => u32::from(accepted),
        Err(failure) => {
            eprintln!("{name} failed on \"{}\"", input.escape_ascii());
            resume_unwind(failure)
        }
    };
    let (mut tried, mut accepted) = (0, corpus.iter().map(|input| run(input)).sum::<u32>());
    while tried < inputs && (Instant::now() < until || accepted == 0) {
        let input = if corpus.is_empty() { noise(&mut dice) } else { mutate(&mut dice, corpus) };
        accepted += run(&input);
        tried += 1;
    }
    println!("{name}: {tried} inputs, {accepted} accepted");
    assert!(accepted > 0, "{name}: no input was accepted");
}

/// Reads figures from bytes; zeros when they are used up.
pub struct Bytes<'a>(pub &'a [u8]);

impl Bytes<'_> {
    pub fn byte(&mut self) -> u8 {
        let (first, rest) = self.0.split_first().unwrap_or((&0, &[]));
        self.0 = rest;
        *first
    }

    pub fn bool(&mut self) -> bool {
        self.byte() & 1 == 1
    }

    pub fn u16(&mut self) -> u16 {
        u16::from_le_bytes([self.byte(), self.byte()])
    }

    pub fn u32(&mut self) -> u32 {
        u32::from(self.u16()) << 16 | u32::from(self.u16())
    }

    /// From 0 to `n` - 1.
    pub fn below(&mut self, n: u16) -> u16 {
        self.u16() % n
    }

    /// One of these.
    pub fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[usize::from(self.byte()) % from.len()]
    }

    /// Mostly within the range, sometimes anything at all.
    pub fn near(&mut self, low: f64, high: f64) -> f64 {
        let share = f64::from(self.u16()) / f64::from(u16::MAX);
        match self.byte() {
            0 => f64::NAN,
            1 => f64::INFINITY,
            2 => f64::NEG_INFINITY,
            3 => -share,
            4 => f64::MAX,
            5 => f64::MIN_POSITIVE,
            6 => low,
            7 => high,
            8 => high + 1.0,
            _ => low + share * (high - low),
        }
    }
}
