//! Exact binomial intervals.

/// The largest rate that `hits` of `trials` leave possible, one-sided 95 % (Clopper and Pearson, 1934).
pub fn upper_bound(hits: u64, trials: u64) -> f64 {
    bisect(|rate| at_most(hits, trials, rate) > 0.05)
}

/// The smallest rate that `hits` of `trials` leave possible, one-sided 95 %.
pub fn lower_bound(hits: u64, trials: u64) -> f64 {
    if hits == 0 { 0.0 } else { bisect(|rate| 1.0 - at_most(hits - 1, trials, rate) < 0.05) }
}

/// Probability of at most `hits` in `trials`.
fn at_most(hits: u64, trials: u64, rate: f64) -> f64 {
    if rate <= 0.0 {
        return 1.0;
    }
    if rate >= 1.0 {
        return if hits >= trials { 1.0 } else { 0.0 };
    }
    let mut term = trials as f64 * (-rate).ln_1p(); // ln of P(0)
    let mut sum = term.exp();
    for k in 1..=hits {
        term += ((trials - k + 1) as f64 / k as f64).ln() + rate.ln() - (-rate).ln_1p();
        sum += term.exp();
    }
    sum.min(1.0)
}

fn bisect(still_below: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if still_below(middle) { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Zero of 59 leaves 0.0495 and zero of 299 leaves 0.0100 (1 - 0.05^(1/n), by hand).
#[test]
fn bounds_match_the_closed_form_of_no_hits() {
    assert!((upper_bound(0, 59) - 0.0495).abs() < 1e-4);
    assert!((upper_bound(0, 299) - 0.0100).abs() < 1e-4);
    assert!((lower_bound(59, 59) - (1.0 - 0.0495)).abs() < 1e-4);
}
