//! The second generator: two tongues, a valve, a cell and its port, solved from their equations of motion.
//!
//! The blown-closed tongue A lies on the upstream side, the blown-open tongue B downstream, its slot covered by a valve
//! that lets air through `leak_mm2`. Quasi-static jet flow through the slots, an inertive port; after Millot and
//! Baumann, Acta Acustica 93 (2007), and Puranik and Scavone, POMA 49 (2023), both extended to two tongues.

/// Density of air, kg/m³.
const RHO: f64 = 1.2;
/// Speed of sound, m/s.
const C: f64 = 343.0;
/// Contraction of the jet.
const ALPHA: f64 = 0.61;
/// Steps of the solver per sample at 48 kHz.
pub const STEPS: usize = 8;
/// Samples per second of the sound and of every track.
pub const RATE_HZ: u32 = 48_000;

/// A plate with its cell; lengths in mm, areas in mm².
#[derive(Debug, Clone)]
pub struct Plate {
    /// Natural frequency of tongue A, Hz.
    pub f0_hz: f64,
    /// Length, width and thickness of a tongue.
    pub tongue_mm: [f64; 3],
    /// Rest height of the tip above the plate.
    pub rest_mm: f64,
    /// Side clearance.
    pub gap_mm: f64,
    /// Thickness of the plate.
    pub plate_mm: f64,
    /// Quality factor.
    pub quality: f64,
    /// Volume of the cell, cm³.
    pub cell_cm3: f64,
    /// Area and length of the port.
    pub port: (f64, f64),
    /// Tongue B re tongue A, cents; `None` for a plate with one tongue.
    pub partner_cents: Option<f64>,
    /// What the valve over slot B lets through.
    pub leak_mm2: f64,
}

impl Plate {
    /// The reference plate at A4, two unison tongues behind tight valves. Plausible dimensions, not measured ones.
    pub fn a4() -> Self {
        Self {
            f0_hz: 440.0,
            tongue_mm: [24.0, 2.6, 0.30],
            rest_mm: 0.30,
            gap_mm: 0.04,
            plate_mm: 2.0,
            quality: 100.0,
            cell_cm3: 5.0,
            port: (60.0, 20.0),
            partner_cents: Some(0.0),
            leak_mm2: 0.0,
        }
    }

    /// What a tongue leaves open at rest: the gap along both sides and the tip, mm².
    pub fn opening_mm2(&self) -> f64 {
        Slot::new(self).area(self.rest_mm * 1e-3) * 1e6
    }

    /// The pressure that holds the tongue in its slot, Pa.
    pub fn choke_pa(&self) -> f64 {
        let model = Model::new(self);
        model.a.k * model.rest / model.pressed_area
    }

    /// The same a semitone-and-more lower: A3.
    pub fn a3() -> Self {
        Self {
            f0_hz: 220.0,
            tongue_mm: [33.0, 3.2, 0.40],
            rest_mm: 0.5,
            plate_mm: 2.5,
            cell_cm3: 9.0,
            port: (100.0, 20.0),
            ..Self::a4()
        }
    }
}

/// What a run gives, one value per sample at [`RATE_HZ`].
pub struct Run {
    /// Tip height of tongue A, m.
    pub a: Vec<f64>,
    /// Tip height of tongue B, m; at rest when there is none.
    pub b: Vec<f64>,
    /// Flow through the port, m³/s.
    pub flow: Vec<f64>,
    /// Its rate of change, which the ear hears; free of what lies above half the rate.
    pub sound: Vec<f32>,
}

/// Area of a slot by tip height, tabulated.
struct Slot {
    table: Vec<f64>,
}

/// Table from −5 to 5 mm in steps of 1 µm; tips swing up to 2.5 mm.
const SLOT_SPAN: f64 = 5e-3;
const SLOT_STEP: f64 = 1e-6;

impl Slot {
    fn new(plate: &Plate) -> Self {
        let [l, b, _] = plate.tongue_mm.map(|mm| mm * 1e-3);
        let (g, h) = (plate.gap_mm * 1e-3, plate.plate_mm * 1e-3);
        let out_of_slot = |y: f64| if y > 0.0 { y } else { (-(y + h)).max(0.0) };
        const ALONG: usize = 64;
        let shape: Vec<f64> = (0..ALONG).map(|i| ((i as f64 + 0.5) / ALONG as f64).powf(1.75)).collect();
        let area = |x: f64| {
            let side: f64 = shape.iter().map(|phi| out_of_slot(x * phi).hypot(g)).sum();
            b * out_of_slot(x).hypot(g) + 2.0 * l * side / ALONG as f64
        };
        let n = (2.0 * SLOT_SPAN / SLOT_STEP) as usize + 2;
        Self { table: (0..n).map(|i| area(i as f64 * SLOT_STEP - SLOT_SPAN)).collect() }
    }

    fn area(&self, x: f64) -> f64 {
        let at = ((x + SLOT_SPAN) / SLOT_STEP).clamp(0.0, (self.table.len() - 2) as f64);
        let i = at as usize;
        self.table[i] + (at - i as f64) * (self.table[i + 1] - self.table[i])
    }
}

/// Mass, stiffness, damping.
struct Tongue {
    m: f64,
    k: f64,
    r: f64,
}

struct Model {
    slot: Slot,
    a: Tongue,
    b: Option<Tongue>,
    rest: f64,
    pressed_area: f64,
    leak: f64,
    volume: f64,
    port_area: f64,
    port_length: f64,
}

/// Tip and speed of A, tip and speed of B, cell pressure, port flow.
type State = [f64; 6];

impl Model {
    fn new(plate: &Plate) -> Self {
        let [l, b, t] = plate.tongue_mm.map(|mm| mm * 1e-3);
        let m = 0.25 * 7850.0 * b * t * l;
        let tongue = |f0: f64| {
            let w = std::f64::consts::TAU * f0;
            Tongue { m, k: m * w * w, r: m * w / plate.quality }
        };
        Self {
            slot: Slot::new(plate),
            a: tongue(plate.f0_hz),
            b: plate.partner_cents.map(|cents| tongue(plate.f0_hz * (cents / 1200.0).exp2())),
            rest: plate.rest_mm * 1e-3,
            pressed_area: 0.3915 * b * l,
            leak: plate.leak_mm2 * 1e-6,
            volume: plate.cell_cm3 * 1e-6,
            port_area: plate.port.0 * 1e-6,
            port_length: plate.port.1 * 1e-3,
        }
    }

    fn rates(&self, [x1, v1, x2, v2, p, up]: State, bellows: f64) -> State {
        let dp = bellows - p;
        let jet = dp.signum() * (2.0 * dp.abs() / RHO).sqrt();
        let a1 = (-self.a.k * (x1 - self.rest) - self.a.r * v1 - self.pressed_area * dp) / self.a.m;
        let u1 = ALPHA * self.slot.area(x1) * jet - self.pressed_area * v1;
        let (mut a2, mut u2) = (0.0, 0.0);
        if let Some(b) = &self.b {
            let open = self.slot.area(x2);
            // Valve and slot in series.
            let through =
                if self.leak > 0.0 { 1.0 / (open.powi(-2) + self.leak.powi(-2)).sqrt() } else { 0.0 };
            let dp_b = dp * (through / open).powi(2);
            a2 = (-b.k * (x2 - self.rest) - b.r * v2 + self.pressed_area * dp_b) / b.m;
            u2 = ALPHA * through * jet + self.pressed_area * v2 * self.leak / (self.leak + open);
        }
        let p_rate = RHO * C * C / self.volume * (u1 + u2 - up);
        let loss = 0.5 * RHO * up * up.abs() / (ALPHA * self.port_area).powi(2);
        [v1, a1, v2, a2, p_rate, (p - loss) * self.port_area / (RHO * self.port_length)]
    }
}

/// Blow the plate: `bellows_pa(t)` for `seconds`, Runge–Kutta of the fourth order at [`STEPS`] × 48 kHz.
pub fn blow(plate: &Plate, seconds: f64, bellows_pa: impl Fn(f64) -> f64) -> Run {
    let model = Model::new(plate);
    let n = (seconds * f64::from(RATE_HZ)) as usize;
    let step = 1.0 / (f64::from(RATE_HZ) * STEPS as f64);
    let mut state: State = [model.rest, 0.0, model.rest, 0.0, 0.0, 0.0];
    let (mut a, mut b, mut flow) = (Vec::with_capacity(n), Vec::with_capacity(n), Vec::with_capacity(n));
    let mut fine = Vec::with_capacity(n * STEPS);
    let advance = |state: &State, rates: &State, dt: f64| -> State {
        std::array::from_fn(|i| state[i] + dt * rates[i])
    };
    for i in 0..n * STEPS {
        if i % STEPS == 0 {
            a.push(state[0]);
            b.push(state[2]);
            flow.push(state[5]);
        }
        let t = i as f64 * step;
        let (now, middle, next) = (bellows_pa(t), bellows_pa(t + 0.5 * step), bellows_pa(t + step));
        let k1 = model.rates(state, now);
        let k2 = model.rates(advance(&state, &k1, 0.5 * step), middle);
        let k3 = model.rates(advance(&state, &k2, 0.5 * step), middle);
        let k4 = model.rates(advance(&state, &k3, step), next);
        fine.push(k1[5]);
        for j in 0..6 {
            state[j] += step / 6.0 * (k1[j] + 2.0 * k2[j] + 2.0 * k3[j] + k4[j]);
        }
    }
    Run { a, b, flow, sound: thin_out(&fine, 0.25) }
}

/// A steady pressure, reached in 20 ms, and let go within 10 ms at `stop_s`.
pub fn steady_until(pressure_pa: f64, stop_s: f64) -> impl Fn(f64) -> f64 {
    move |t| pressure_pa * (t / 0.02).clamp(0.0, 1.0) * (1.0 - ((t - stop_s) / 0.01).clamp(0.0, 1.0))
}

/// Every eighth value, after a windowed low pass at 20 kHz; the highest peak becomes `peak`.
fn thin_out(fine: &[f64], peak: f64) -> Vec<f32> {
    const HALF: isize = 96;
    let cut = 20_000.0 / (f64::from(RATE_HZ) * STEPS as f64);
    let taps: Vec<f64> = (-HALF..=HALF)
        .map(|i| {
            let x = std::f64::consts::TAU * cut * i as f64;
            let sinc = if i == 0 { 2.0 * cut } else { x.sin() / (std::f64::consts::PI * i as f64) };
            let w = std::f64::consts::PI * i as f64 / HALF as f64;
            sinc * (0.42 + 0.5 * w.cos() + 0.08 * (2.0 * w).cos())
        })
        .collect();
    let at = |i: isize| usize::try_from(i).ok().and_then(|i| fine.get(i)).copied().unwrap_or(0.0);
    let thin: Vec<f64> = (0..fine.len() / STEPS)
        .map(|n| taps.iter().zip(-HALF..).map(|(tap, i)| tap * at((n * STEPS) as isize + i)).sum())
        .collect();
    let highest = thin.iter().fold(1e-30, |p: f64, x| p.max(x.abs()));
    thin.iter().map(|x| (x / highest * peak) as f32).collect()
}

/// Pitch of a track from its upward crossings of its mean, Hz, and half its swing; `None` below `least` of swing.
pub fn pitch_and_swing(track: &[f64], least: f64) -> Option<(f64, f64)> {
    let mean = track.iter().sum::<f64>() / track.len() as f64;
    let (low, high) = track.iter().fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(*x), h.max(*x)));
    let swing = 0.5 * (high - low);
    if swing < least {
        return None;
    }
    let crossings: Vec<f64> = track
        .windows(2)
        .enumerate()
        .filter(|(_, w)| w[0] < mean && mean <= w[1])
        .map(|(i, w)| i as f64 + (mean - w[0]) / (w[1] - w[0]))
        .collect();
    let (first, last) = (crossings.first()?, crossings.last()?);
    (crossings.len() > 1).then(|| ((crossings.len() - 1) as f64 / (last - first) * f64::from(RATE_HZ), swing))
}

/// The two damped tones nearest to `near_hz` in a track, by linear prediction of the demodulated signal; low to high,
/// Hz. Free of noise, two tones obey z(n) = p z(n−1) + q z(n−2) exactly, however close they lie.
pub fn two_damped_tones(track: &[f64], near_hz: f64) -> (f64, f64) {
    const HOP: usize = 96;
    let hop_s = HOP as f64 / f64::from(RATE_HZ);
    let width = 12 * HOP;
    let demodulated: Vec<(f64, f64)> = track
        .windows(width)
        .step_by(HOP)
        .enumerate()
        .map(|(n, window)| {
            let (mut re, mut im) = (0.0, 0.0);
            for (i, x) in window.iter().enumerate() {
                let hann = 1.0 - (std::f64::consts::TAU * (i as f64 + 0.5) / width as f64).cos();
                let turns = near_hz / f64::from(RATE_HZ) * (n * HOP + i) as f64;
                let (sin, cos) = (std::f64::consts::TAU * turns.fract()).sin_cos();
                re += hann * x * cos;
                im -= hann * x * sin;
            }
            (re, im)
        })
        .collect();
    // Least squares for p and q: A p + B q = E, conj(B) p + C q = F.
    let mul = |a: (f64, f64), b: (f64, f64)| (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0);
    let conj = |a: (f64, f64)| (a.0, -a.1);
    let inner = |ahead_a: usize, ahead_b: usize| {
        (0..demodulated.len() - 2).fold((0.0, 0.0), |sum, n| {
            let product = mul(conj(demodulated[n + ahead_a]), demodulated[n + ahead_b]);
            (sum.0 + product.0, sum.1 + product.1)
        })
    };
    let (a, b, c, e, f) = (inner(1, 1), inner(1, 0), inner(0, 0), inner(1, 2), inner(0, 2));
    let determinant = a.0 * c.0 - b.0 * b.0 - b.1 * b.1;
    let over = |x: (f64, f64), y: (f64, f64)| ((x.0 - y.0) / determinant, (x.1 - y.1) / determinant);
    let p = over(mul(c, e), mul(b, f));
    let q = over(mul(a, f), mul(conj(b), e));
    // Roots of z² − p z − q.
    let square = mul(p, p);
    let (x, y) = (square.0 + 4.0 * q.0, square.1 + 4.0 * q.1);
    let size = x.hypot(y);
    let root = ((0.5 * (size + x)).sqrt(), (0.5 * (size - x)).sqrt().copysign(y));
    let hz = |sign: f64| {
        let pole = (0.5 * (p.0 + sign * root.0), 0.5 * (p.1 + sign * root.1));
        near_hz + pole.1.atan2(pole.0) / (std::f64::consts::TAU * hop_s)
    };
    let (one, other) = (hz(1.0), hz(-1.0));
    (one.min(other), one.max(other))
}
