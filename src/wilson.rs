//! How far a share counted in few calls can be trusted.

/// The interval that holds the true share 19 times of 20 when `came` of `of` came (Wilson's score interval, z = 1.96); 0 to 1,
/// and the whole of it when there is nothing. E. B. Wilson, "Probable inference, the law of succession, and statistical
/// inference", 1927.
pub fn interval(came: u64, of: u64) -> (f64, f64) {
    if of == 0 {
        return (0.0, 1.0);
    }
    let (n, z) = (of as f64, 1.96_f64);
    let p = came.min(of) as f64 / n;
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    ((middle - half).max(0.0), (middle + half).min(1.0))
}
