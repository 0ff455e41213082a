//! Counts, bounds, and the table.

use super::hearing::Verdict;

/// Counts of verdicts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Count {
    pub right: usize,
    pub wrong: usize,
    pub refused: usize,
    pub missed: usize,
}

impl Count {
    pub fn of(all: impl IntoIterator<Item = Verdict>) -> Count {
        let mut c = Count::default();
        for v in all {
            match v {
                Verdict::Right => c.right += 1,
                Verdict::Wrong => c.wrong += 1,
                Verdict::Refused => c.refused += 1,
                Verdict::Missed => c.missed += 1,
            }
        }
        c
    }
    pub fn n(&self) -> usize {
        self.right + self.wrong + self.refused + self.missed
    }
}

/// The exact two-sided 95 % interval of a share (Clopper and Pearson 1934), by bisection on the binomial sum.
pub fn bounds(k: usize, n: usize) -> (f64, f64) {
    if n == 0 {
        return (0.0, 1.0);
    }
    let at_most = |k: i64, p: f64| -> f64 {
        let (mut sum, mut term) = (0.0, (n as f64) * (1.0 - p).ln());
        for i in 0..=k {
            if i > 0 {
                term += ((n as f64 - i as f64 + 1.0) / i as f64).ln() + p.ln() - (1.0 - p).ln();
            }
            sum += term.exp();
        }
        sum
    };
    let solve = |wanted: &dyn Fn(f64) -> bool| {
        let (mut low, mut high) = (1e-9, 1.0 - 1e-9);
        for _ in 0..60 {
            let mid = (low + high) / 2.0;
            if wanted(mid) { low = mid } else { high = mid }
        }
        low
    };
    let low = if k == 0 { 0.0 } else { solve(&|p| 1.0 - at_most(k as i64 - 1, p) < 0.025) };
    let high = if k == n { 1.0 } else { solve(&|p| at_most(k as i64, p) > 0.025) };
    (low, high)
}

/// A share in percent with its bounds.
pub fn share(k: usize, n: usize) -> String {
    let (low, high) = bounds(k, n);
    format!("{:.1} ({:.1}–{:.1})", 100.0 * k as f64 / n.max(1) as f64, 100.0 * low, 100.0 * high)
}

pub fn head(first: &str) {
    println!("| {first} | N | right % (95 % bounds) | wrong % (95 % bounds) | refused % | not noticed % |");
    println!("|---|---|---|---|---|---|");
}

pub fn row(name: &str, c: Count) {
    let n = c.n();
    if n > 0 {
        let p = |k: usize| 100.0 * k as f64 / n as f64;
        println!(
            "| {name} | {n} | {} | {} | {:.1} | {:.1} |",
            share(c.right, n),
            share(c.wrong, n),
            p(c.refused),
            p(c.missed)
        );
    }
}

/// The value below which this share of the sorted values lies.
pub fn quantile(sorted: &[f64], share: f64) -> f64 {
    let i = ((sorted.len() as f64 - 1.0) * share).round() as usize;
    sorted.get(i).copied().unwrap_or(f64::NAN)
}
