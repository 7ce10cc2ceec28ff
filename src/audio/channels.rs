//! Which channel of a recording to use: one as it is, never an average, in which opposite channels would cancel.
//!
//! Rule: of the channels that carry sound, the one whose tone stands highest above its own noise. Clearances within
//! 1 dB, or beyond 80 dB, count as equal; then the louder tone is taken, then the lower number. A channel with clipped
//! samples or values that are no numbers is taken only when it stands 30 dB clearer. Where no channel has a tone, the
//! loudest counts.

use realfft::RealFftPlanner;

/// Spectrum blocks last a quarter to half a second: 27.5 Hz then lies 7 bins or more from its neighbours.
const BLOCK_S: f64 = 0.25;
/// Lines are told from noise band by band; each band is wide against a line and narrow against the noise's slope.
const BAND_HZ: f64 = 200.0;
/// A bin this far (power) above its band's median belongs to a tone: noise alone reaches about 12.
const LINE_OVER_MEDIAN: f64 = 100.0;
/// A channel this far (power, 40 dB) below the strongest carries nothing.
const CARRIES: f64 = 1e-4;
/// Clearances beyond this are equally good, dB.
const CLEAR_ENOUGH_DB: f64 = 80.0;
/// What damage costs, dB.
const DAMAGE_DB: f64 = 30.0;
/// Clearances within this are equal, dB.
const EQUAL_DB: f64 = 1.0;
/// More than this share of damaged samples is damage; a few do no harm.
const DAMAGED_SHARE: f64 = 1e-4;
/// Three equal samples in a row at or above this are clipped.
const NEAR_FULL_SCALE: f32 = 0.99;

/// The channel of interleaved `sound` that should be used, counted from 0; the rule is the one for files.
///
/// - `channels`: how many are interleaved; at least 1.
/// - `rate_hz`: 8 000 to 384 000.
pub fn clearest_channel(sound: &[f32], channels: usize, rate_hz: u32) -> usize {
    if channels < 2 {
        return 0;
    }
    let mut listener = Listener::new(channels, rate_hz);
    listener.hear(sound);
    listener.choose().channel
}

/// The channel to use, and how many carry sound of their own.
#[derive(Debug, PartialEq)]
pub(super) struct Choice {
    /// From 0.
    pub channel: usize,
    /// Channels that carry sound and are not copies of another.
    pub carrying: usize,
}

/// Statistics of each channel, gathered while the file is streamed.
pub(super) struct Listener {
    ears: Vec<Ear>,
    planner: RealFftPlanner<f32>,
    block_len: usize,
    rate_hz: u32,
    frames: u64,
}

#[derive(Default)]
struct Ear {
    block: Vec<f32>,
    power: Vec<f32>,
    blocks: usize,
    sum: f64,
    squares: f64,
    damaged: u64,
    last: f32,
    run: u64,
    copy_of_first: bool,
}

struct Sound {
    tone: f64,
    ac: f64,
    score_db: f64,
    copy: bool,
}

impl Listener {
    pub fn new(channels: usize, rate_hz: u32) -> Self {
        let block_len = ((f64::from(rate_hz) * BLOCK_S) as usize).next_power_of_two();
        let ear = || Ear { copy_of_first: true, ..Ear::default() };
        Self {
            ears: (0..channels).map(|_| ear()).collect(),
            planner: RealFftPlanner::new(),
            block_len,
            rate_hz,
            frames: 0,
        }
    }

    /// Take in an interleaved piece.
    pub fn hear(&mut self, piece: &[f32]) {
        let (block_len, planner) = (self.block_len, &mut self.planner);
        for frame in piece.chunks_exact(self.ears.len()) {
            let first = frame.first().copied().unwrap_or(0.0);
            for (ear, &sample) in self.ears.iter_mut().zip(frame) {
                ear.copy_of_first &= sample.to_bits() == first.to_bits();
                ear.sample(sample);
                if ear.block.len() == block_len {
                    ear.close_block(planner, block_len);
                }
            }
            self.frames += 1;
        }
    }

    /// Choose, now that all has been heard.
    pub fn choose(mut self) -> Choice {
        let rate_hz = f64::from(self.rate_hz);
        let (planner, block_len, frames) = (&mut self.planner, self.block_len, self.frames.max(1) as f64);
        let sounds: Vec<Sound> = self
            .ears
            .iter_mut()
            .enumerate()
            .map(|(channel, ear)| {
                if ear.blocks == 0 {
                    // Shorter than one block: no more is made of it than is there.
                    let short_len = ear.block.len().next_power_of_two().clamp(8, block_len.max(8));
                    ear.close_block(planner, short_len);
                }
                let (tone, noise) = lines_and_noise(&ear.power, rate_hz);
                let clearance = 10.0 * (tone / noise.max(f64::MIN_POSITIVE)).max(1e-9).log10();
                let damage = if ear.damaged as f64 > DAMAGED_SHARE * frames { DAMAGE_DB } else { 0.0 };
                Sound {
                    tone: tone / ear.blocks.max(1) as f64,
                    ac: (ear.squares - ear.sum * ear.sum / frames).max(0.0),
                    score_db: clearance.min(CLEAR_ENOUGH_DB) - damage,
                    copy: channel > 0 && ear.copy_of_first,
                }
            })
            .collect();
        pick(&sounds)
    }
}

fn pick(sounds: &[Sound]) -> Choice {
    let toneless = sounds.iter().all(|sound| sound.tone <= 0.0);
    let strength = |sound: &Sound| if toneless { sound.ac } else { sound.tone };
    let strongest = sounds.iter().map(strength).fold(0.0, f64::max);
    let carries = |sound: &&Sound| strength(sound) > 0.0 && strength(sound) >= CARRIES * strongest;
    let score = |sound: &Sound| if toneless { 0.0 } else { sound.score_db };
    let best = sounds.iter().filter(carries).map(score).fold(f64::NEG_INFINITY, f64::max);
    let mut channel: Option<(usize, f64)> = None;
    for (number, sound) in sounds.iter().enumerate() {
        let fit = carries(&sound) && score(sound) >= best - EQUAL_DB;
        if fit && channel.is_none_or(|(_, so_far)| strength(sound) > so_far) {
            channel = Some((number, strength(sound)));
        }
    }
    let carrying = sounds.iter().filter(carries).filter(|sound| !sound.copy).count();
    Choice { channel: channel.map_or(0, |(number, _)| number), carrying }
}

impl Ear {
    fn sample(&mut self, sample: f32) {
        let sound = if sample.is_finite() { sample } else { 0.0 };
        self.damaged += u64::from(!sample.is_finite());
        self.run = if sample == self.last { self.run + 1 } else { 1 };
        if sample.abs() >= NEAR_FULL_SCALE && self.run >= 3 {
            self.damaged += if self.run == 3 { 3 } else { 1 };
        }
        self.last = sample;
        self.sum += f64::from(sound);
        self.squares += f64::from(sound) * f64::from(sound);
        self.block.push(sound);
    }

    /// Add the block's power spectrum (Hann window) to the sum.
    fn close_block(&mut self, planner: &mut RealFftPlanner<f32>, block_len: usize) {
        let filled = self.block.len();
        for (n, value) in self.block.iter_mut().enumerate() {
            let turn = std::f64::consts::TAU * (n as f64 + 0.5) / filled as f64;
            *value *= (0.5 - 0.5 * turn.cos()) as f32;
        }
        self.block.resize(block_len, 0.0);
        let fft = planner.plan_fft_forward(block_len);
        let mut spectrum = fft.make_output_vec();
        if fft.process(&mut self.block, &mut spectrum).is_ok() {
            self.power.resize(spectrum.len(), 0.0);
            for (sum, bin) in self.power.iter_mut().zip(&spectrum) {
                *sum += bin.norm_sqr();
            }
            self.blocks += 1;
        }
        self.block.clear();
    }
}

/// Power in the lines of a spectrum, and in what lies between them.
fn lines_and_noise(power: &[f32], rate_hz: f64) -> (f64, f64) {
    let band = ((BAND_HZ * 2.0 * power.len() as f64 / rate_hz) as usize).max(8);
    let (mut lines, mut noise) = (0.0, 0.0);
    for bins in power.chunks(band) {
        let mut sorted = bins.to_vec();
        sorted.sort_by(f32::total_cmp);
        let median = f64::from(sorted.get(sorted.len() / 2).copied().unwrap_or(0.0));
        noise += median * bins.len() as f64;
        lines += bins.iter().map(|&p| f64::from(p)).filter(|&p| p > LINE_OVER_MEDIAN * median).sum::<f64>();
    }
    (lines, noise)
}
