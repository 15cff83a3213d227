//! Products of matrices: the one place where the speech model's time goes, and the one file of the program that may be
//! unsafe beside the synthesiser's single call. All of it is here for the processor's wide instructions.
//!
//! Why not a library: weights stay 16 bit wide in memory and activations are 32 bit wide, which halves the memory that a
//! decoder step must read; the general libraries multiply like with like.
#![allow(unsafe_code)]
#![allow(
    clippy::many_single_char_names,
    reason = "the letters of the formula: out[i][j] is the sum over k of x[i][k] w[j][k]"
)]

use half::f16;

/// Rows of numbers in a longer slice: row `i` begins at `i * stride`.
#[derive(Clone, Copy)]
pub struct Rows<'a, T> {
    /// The numbers.
    pub values: &'a [T],
    /// From one row's beginning to the next one's.
    pub stride: usize,
    /// How many rows.
    pub count: usize,
}

impl<'a, T> Rows<'a, T> {
    /// Rows that follow each other without a gap.
    pub fn packed(values: &'a [T], length: usize) -> Self {
        Self {
            values,
            stride: length,
            count: values.len() / length.max(1),
        }
    }

    fn fits(&self, length: usize) -> bool {
        self.count == 0 || (self.count - 1) * self.stride + length <= self.values.len()
    }
}

/// A number as it lies in memory.
pub trait Number: Copy + Send + Sync {
    /// As 32 bits.
    fn wide(self) -> f32;

    /// Eight of them.
    ///
    /// # Safety
    /// `from` must point to eight numbers, and the processor must have AVX2, FMA and F16C.
    #[cfg(target_arch = "x86_64")]
    unsafe fn eight(from: *const Self) -> std::arch::x86_64::__m256;
}

impl Number for f32 {
    fn wide(self) -> f32 {
        self
    }

    #[cfg(target_arch = "x86_64")]
    #[inline]
    #[target_feature(enable = "avx2,fma,f16c")]
    unsafe fn eight(from: *const Self) -> std::arch::x86_64::__m256 {
        // SAFETY: the caller's promise.
        unsafe { std::arch::x86_64::_mm256_loadu_ps(from) }
    }
}

impl Number for f16 {
    fn wide(self) -> f32 {
        self.to_f32()
    }

    #[cfg(target_arch = "x86_64")]
    #[inline]
    #[target_feature(enable = "avx2,fma,f16c")]
    unsafe fn eight(from: *const Self) -> std::arch::x86_64::__m256 {
        use std::arch::x86_64::{_mm_loadu_si128, _mm256_cvtph_ps};
        // SAFETY: the caller's promise; the load asks for no alignment.
        unsafe { _mm256_cvtph_ps(_mm_loadu_si128(from.cast())) }
    }
}

/// `out[i * step + j]` becomes the product of row `i` of `x` and row `j` of `w`, over `length` numbers.
///
/// The order of the sums depends on nothing but `length`: the same rows give the same number wherever they stand.
///
/// # Panics
/// When a row does not lie within its slice.
pub fn products<T: Number>(x: Rows<f32>, w: Rows<T>, length: usize, out: &mut [f32], step: usize) {
    assert!(x.fits(length) && w.fits(length), "a row reaches beyond its matrix");
    assert!(
        x.count == 0 || (x.count - 1) * step + w.count <= out.len(),
        "the result does not fit"
    );
    #[cfg(target_arch = "x86_64")]
    if is_x86_feature_detected!("avx2") && is_x86_feature_detected!("fma") && is_x86_feature_detected!("f16c") {
        // SAFETY: the processor has the instructions, and all rows lie within their slices.
        unsafe { wide::products(x, w, length, out, step) };
        return;
    }
    plain(x, w, length, out, step);
}

/// Without special instructions: eight sums side by side, which compilers turn into what the processor has.
fn plain<T: Number>(x: Rows<f32>, w: Rows<T>, length: usize, out: &mut [f32], step: usize) {
    for j in 0..w.count {
        let row: Vec<f32> = w.values[j * w.stride..][..length].iter().map(|v| v.wide()).collect();
        for i in 0..x.count {
            let other = &x.values[i * x.stride..][..length];
            let mut sums = [0.0_f32; 8];
            let (a, b) = (row.chunks_exact(8), other.chunks_exact(8));
            let rest: f32 = a.remainder().iter().zip(b.remainder()).map(|(p, q)| p * q).sum();
            for (p, q) in a.zip(b) {
                for k in 0..8 {
                    sums[k] += p[k] * q[k];
                }
            }
            out[i * step + j] = sums.iter().sum::<f32>() + rest;
        }
    }
}

#[cfg(target_arch = "x86_64")]
mod wide {
    use super::{Number, Rows};
    use std::arch::x86_64::{
        __m256, _mm_add_ps, _mm_add_ss, _mm_cvtss_f32, _mm_movehdup_ps, _mm_movehl_ps, _mm256_castps256_ps128,
        _mm256_extractf128_ps, _mm256_fmadd_ps, _mm256_setzero_ps,
    };

    /// # Safety
    /// The processor has AVX2, FMA and F16C; rows and results lie within their slices.
    #[target_feature(enable = "avx2,fma,f16c")]
    pub unsafe fn products<T: Number>(x: Rows<f32>, w: Rows<T>, length: usize, out: &mut [f32], step: usize) {
        // The rows of `w` are read once and meet all of `x`, which is the smaller side or lies in the cache.
        let mut j = 0;
        while j < w.count {
            let pair = j + 2 <= w.count;
            let mut i = 0;
            while i < x.count {
                // SAFETY: the caller's promise, and the blocks end within the counts.
                let many = unsafe {
                    match (pair, x.count - i) {
                        (true, 1) => block::<T, 2, 1>(x, w, length, out, step, (i, j)),
                        (true, 2 | 3) => block::<T, 2, 2>(x, w, length, out, step, (i, j)),
                        (true, _) => block::<T, 2, 4>(x, w, length, out, step, (i, j)),
                        (false, _) => block::<T, 1, 1>(x, w, length, out, step, (i, j)),
                    }
                };
                i += many;
            }
            j += if pair { 2 } else { 1 };
        }
    }

    /// `R` rows of `w` with `B` rows of `x`; returns `B`.
    #[inline(never)]
    #[target_feature(enable = "avx2,fma,f16c")]
    unsafe fn block<T: Number, const R: usize, const B: usize>(
        x: Rows<f32>,
        w: Rows<T>,
        length: usize,
        out: &mut [f32],
        step: usize,
        (i, j): (usize, usize),
    ) -> usize {
        let whole = length / 8 * 8;
        let mut sums = [[_mm256_setzero_ps(); B]; R];
        // SAFETY: the rows lie within their slices, and k + 8 <= length.
        unsafe {
            let xs: [*const f32; B] = std::array::from_fn(|b| x.values.as_ptr().add((i + b) * x.stride));
            let ws: [*const T; R] = std::array::from_fn(|r| w.values.as_ptr().add((j + r) * w.stride));
            let mut k = 0;
            while k < whole {
                let weights: [__m256; R] = [T::eight(ws[0].add(k)); R];
                let weights = if R == 2 {
                    let mut v = weights;
                    v[R - 1] = T::eight(ws[R - 1].add(k));
                    v
                } else {
                    weights
                };
                for b in 0..B {
                    let eight = f32::eight(xs[b].add(k));
                    for r in 0..R {
                        sums[r][b] = _mm256_fmadd_ps(weights[r], eight, sums[r][b]);
                    }
                }
                k += 8;
            }
        }
        for (r, line) in sums.iter().enumerate() {
            for (b, eight) in line.iter().enumerate() {
                let mut sum = across(*eight);
                for k in whole..length {
                    sum += x.values[(i + b) * x.stride + k] * w.values[(j + r) * w.stride + k].wide();
                }
                out[(i + b) * step + j + r] = sum;
            }
        }
        B
    }

    #[inline]
    #[target_feature(enable = "avx2,fma,f16c")]
    fn across(eight: __m256) -> f32 {
        let four = _mm_add_ps(_mm256_castps256_ps128(eight), _mm256_extractf128_ps::<1>(eight));
        let two = _mm_add_ps(four, _mm_movehl_ps(four, four));
        _mm_cvtss_f32(_mm_add_ss(two, _mm_movehdup_ps(two)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wide_and_plain_give_what_the_definition_gives() {
        let number = |n: usize| ((n * 7919 % 1000) as f32 - 500.0) / 250.0;
        for (rows, others, length) in [(1, 1, 8), (5, 3, 64), (4, 2, 19), (9, 7, 3), (0, 3, 8), (3, 0, 8)] {
            let x: Vec<f32> = (0..rows * length).map(number).collect();
            let w: Vec<f32> = (0..others * length).map(|n| number(n + 13)).collect();
            let short: Vec<f16> = w.iter().map(|v| f16::from_f32(*v)).collect();
            let mut right = vec![0.0_f64; rows * others];
            for i in 0..rows {
                for j in 0..others {
                    right[i * others + j] = (0..length)
                        .map(|k| f64::from(x[i * length + k]) * f64::from(w[j * length + k]))
                        .sum();
                }
            }
            let xs = Rows {
                values: &x,
                stride: length,
                count: rows,
            };
            let ws = Rows {
                values: &w,
                stride: length,
                count: others,
            };
            let hs = Rows {
                values: &short,
                stride: length,
                count: others,
            };
            let near = |out: &[f32], most: f64| {
                for (a, b) in out.iter().zip(&right) {
                    assert!((f64::from(*a) - b).abs() < most, "{a} {b}");
                }
            };
            let mut out = vec![9.0; rows * others];
            products(xs, ws, length, &mut out, others);
            near(&out, 1e-4);
            plain(xs, ws, length, &mut out, others);
            near(&out, 1e-4);
            products(xs, hs, length, &mut out, others);
            near(&out, 0.2);
        }
    }
}
