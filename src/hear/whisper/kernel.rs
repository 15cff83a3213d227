//! Products of matrices: the one place where the speech model's time goes, and the one file of the program that may be
//! unsafe beside the calls of the synthesiser's library. All of it is here for the processor's wide instructions.
//!
//! Why not a library: weights stay 16 bit wide in memory and activations are 32 bit wide, which halves the memory that a
//! decoder step must read; the general libraries multiply like with like.
#![allow(unsafe_code)]
#![allow(
    clippy::many_single_char_names,
    reason = "the letters of the formula: out[i][j] is the sum over k of x[i][k] w[j][k]"
)]
#![allow(
    clippy::inline_always,
    reason = "only within a function that has the instructions do they become single instructions"
)]

use half::f16;
use std::ffi::OsStr;
use std::sync::OnceLock;

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
    /// `from` must point to eight numbers, and the processor must have the instructions of `E`.
    unsafe fn eight<E: Eight>(from: *const Self) -> E;
}

impl Number for f32 {
    fn wide(self) -> f32 {
        self
    }

    #[inline(always)]
    unsafe fn eight<E: Eight>(from: *const Self) -> E {
        // SAFETY: the caller's promise.
        unsafe { E::of_32(from) }
    }
}

impl Number for f16 {
    fn wide(self) -> f32 {
        self.to_f32()
    }

    #[inline(always)]
    unsafe fn eight<E: Eight>(from: *const Self) -> E {
        // SAFETY: the caller's promise.
        unsafe { E::of_16(from) }
    }
}

/// Eight numbers side by side, as one kind of processor keeps them.
///
/// # Safety
/// Whoever calls any of these promises that the processor has the instructions, and that pointers point to eight numbers.
pub trait Eight: Copy {
    /// So few registers that blocks of two rows would spill.
    const FEW: bool;

    /// Eight times 0.
    unsafe fn zero() -> Self;
    /// Eight as they are.
    unsafe fn of_32(from: *const f32) -> Self;
    /// Eight that are half as wide in memory.
    unsafe fn of_16(from: *const f16) -> Self;
    /// `self + a * b`; rounded once where that is one instruction.
    unsafe fn and_product(self, a: Self, b: Self) -> Self;
    /// The sum of the eight: the fourth next first, then the second next, then neighbours.
    unsafe fn across(self) -> f32;
}

/// `out[i * step + j]` becomes the product of row `i` of `x` and row `j` of `w`, over `length` numbers.
///
/// The order of the sums depends on nothing but `length`: the same rows give the same number wherever they stand. Where
/// multiplying and adding is one instruction (AVX2 with FMA, ARM) the numbers are the same to the last bit.
///
/// # Panics
/// When a row does not lie within its slice.
pub fn products<T: Number>(x: Rows<f32>, w: Rows<T>, length: usize, out: &mut [f32], step: usize) {
    static ARM: OnceLock<Arm> = OnceLock::new();
    let arm = *ARM.get_or_init(|| Arm::wanted().unwrap_or_else(|_| Arm::best()));
    arm.products(x, w, length, out, step);
}

/// Names the arm that is used instead of the best one: so each can be tested on a processor that has them all.
const WANTED: &str = "CABLESIDE_KERNEL";

/// Whether the arm that the environment asks for can be had.
pub fn check() -> Result<(), String> {
    Arm::wanted().map(drop)
}

/// For which instructions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Arm {
    /// Whatever the compiler makes of it: for kinds of processors that have no arm of their own.
    Plain,
    /// Every processor of this kind has them.
    #[cfg(target_arch = "x86_64")]
    Sse2,
    /// With FMA and F16C.
    #[cfg(target_arch = "x86_64")]
    Avx2,
    /// Every processor of this kind has them.
    #[cfg(target_arch = "aarch64")]
    Neon,
}

impl Arm {
    /// Those that this processor has, the best one last.
    fn all() -> Vec<(&'static str, Self)> {
        let mut all = vec![("plain", Self::Plain)];
        #[cfg(target_arch = "x86_64")]
        {
            all.push(("sse2", Self::Sse2));
            if is_x86_feature_detected!("avx2") && is_x86_feature_detected!("fma") && is_x86_feature_detected!("f16c") {
                all.push(("avx2", Self::Avx2));
            }
        }
        #[cfg(target_arch = "aarch64")]
        all.push(("neon", Self::Neon));
        all
    }

    fn best() -> Self {
        Self::all().last().map_or(Self::Plain, |(_, arm)| *arm)
    }

    fn wanted() -> Result<Self, String> {
        Self::named(&std::env::var_os(WANTED).unwrap_or_default())
    }

    /// The best for no name.
    fn named(wanted: &OsStr) -> Result<Self, String> {
        if wanted.is_empty() {
            return Ok(Self::best());
        }
        let all = Self::all();
        let found = all
            .iter()
            .find(|(name, _)| OsStr::new(name) == wanted)
            .map(|(_, arm)| *arm);
        found.ok_or_else(|| {
            let names: Vec<&str> = all.iter().map(|(name, _)| *name).collect();
            format!(
                "{WANTED} is {}, and this processor has: {}; without {WANTED} the best is taken",
                wanted.display(),
                names.join(", ")
            )
        })
    }

    fn products<T: Number>(self, x: Rows<f32>, w: Rows<T>, length: usize, out: &mut [f32], step: usize) {
        assert!(x.fits(length) && w.fits(length), "a row reaches beyond its matrix");
        assert!(
            x.count == 0 || (x.count - 1) * step + w.count <= out.len(),
            "the result does not fit"
        );
        // SAFETY: the processor has the arm's instructions, as `all` found out, and all rows lie within their slices.
        unsafe {
            match self {
                Self::Plain => plain(x, w, length, out, step),
                #[cfg(target_arch = "x86_64")]
                Self::Sse2 => blocks::<sse2::Two, T>(x, w, length, out, step),
                #[cfg(target_arch = "x86_64")]
                Self::Avx2 => avx2::products(x, w, length, out, step),
                #[cfg(target_arch = "aarch64")]
                Self::Neon => blocks::<neon::Two, T>(x, w, length, out, step),
            }
        }
    }
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

/// # Safety
/// The processor has the instructions of `E`; rows and results lie within their slices.
#[inline(always)]
unsafe fn blocks<E: Eight, T: Number>(x: Rows<f32>, w: Rows<T>, length: usize, out: &mut [f32], step: usize) {
    // The rows of `w` are read once and meet all of `x`, which is the smaller side or lies in the cache.
    let mut j = 0;
    while j < w.count {
        let pair = j + 2 <= w.count && !E::FEW;
        let mut i = 0;
        while i < x.count {
            let at = (i, j);
            // SAFETY: the caller's promise, and the blocks end within the counts.
            i += unsafe {
                match (pair, x.count - i) {
                    (true, 1) => block::<E, T, 2, 1>(x, w, length, out, step, at),
                    (true, 2 | 3) => block::<E, T, 2, 2>(x, w, length, out, step, at),
                    (true, _) => block::<E, T, 2, 4>(x, w, length, out, step, at),
                    (false, 1) => block::<E, T, 1, 1>(x, w, length, out, step, at),
                    (false, 2 | 3) => block::<E, T, 1, 2>(x, w, length, out, step, at),
                    (false, _) => block::<E, T, 1, 4>(x, w, length, out, step, at),
                }
            };
        }
        j += if pair { 2 } else { 1 };
    }
}

/// `R` rows of `w` with `B` rows of `x`; returns `B`.
///
/// # Safety
/// The processor has the instructions of `E`; the rows and results lie within their slices.
#[inline(always)]
unsafe fn block<E: Eight, T: Number, const R: usize, const B: usize>(
    x: Rows<f32>,
    w: Rows<T>,
    length: usize,
    out: &mut [f32],
    step: usize,
    (i, j): (usize, usize),
) -> usize {
    let whole = length / 8 * 8;
    // SAFETY: the rows lie within their slices, and k + 8 <= length.
    let sums = unsafe {
        let mut sums = [[E::zero(); B]; R];
        let xs: [*const f32; B] = std::array::from_fn(|b| x.values.as_ptr().add((i + b) * x.stride));
        let ws: [*const T; R] = std::array::from_fn(|r| w.values.as_ptr().add((j + r) * w.stride));
        let mut k = 0;
        while k < whole {
            let mut weights = [E::zero(); R];
            for (eight, row) in weights.iter_mut().zip(ws) {
                *eight = T::eight::<E>(row.add(k));
            }
            for b in 0..B {
                let eight = f32::eight::<E>(xs[b].add(k));
                for r in 0..R {
                    sums[r][b] = sums[r][b].and_product(weights[r], eight);
                }
            }
            k += 8;
        }
        sums
    };
    for (r, line) in sums.iter().enumerate() {
        for (b, eight) in line.iter().enumerate() {
            // SAFETY: the caller's promise.
            let mut sum = unsafe { eight.across() };
            for k in whole..length {
                sum += x.values[(i + b) * x.stride + k] * w.values[(j + r) * w.stride + k].wide();
            }
            out[(i + b) * step + j + r] = sum;
        }
    }
    B
}

#[cfg(target_arch = "x86_64")]
mod avx2 {
    use super::{Eight, Number, Rows, blocks};
    use half::f16;
    use std::arch::x86_64::{
        __m256, _mm_add_ps, _mm_add_ss, _mm_cvtss_f32, _mm_loadu_si128, _mm_movehdup_ps, _mm_movehl_ps,
        _mm256_castps256_ps128, _mm256_cvtph_ps, _mm256_extractf128_ps, _mm256_fmadd_ps, _mm256_loadu_ps,
        _mm256_setzero_ps,
    };

    /// # Safety
    /// The processor has AVX2, FMA and F16C; rows and results lie within their slices.
    #[target_feature(enable = "avx2,fma,f16c")]
    pub unsafe fn products<T: Number>(x: Rows<f32>, w: Rows<T>, length: usize, out: &mut [f32], step: usize) {
        // SAFETY: the caller's promise.
        unsafe { blocks::<__m256, T>(x, w, length, out, step) }
    }

    impl Eight for __m256 {
        const FEW: bool = false;

        #[inline(always)]
        unsafe fn zero() -> Self {
            // SAFETY: the caller's promise, here and below.
            unsafe { _mm256_setzero_ps() }
        }

        #[inline(always)]
        unsafe fn of_32(from: *const f32) -> Self {
            unsafe { _mm256_loadu_ps(from) }
        }

        #[inline(always)]
        unsafe fn of_16(from: *const f16) -> Self {
            // The load asks for no alignment.
            unsafe { _mm256_cvtph_ps(_mm_loadu_si128(from.cast())) }
        }

        #[inline(always)]
        unsafe fn and_product(self, a: Self, b: Self) -> Self {
            unsafe { _mm256_fmadd_ps(a, b, self) }
        }

        #[inline(always)]
        unsafe fn across(self) -> f32 {
            unsafe {
                let four = _mm_add_ps(_mm256_castps256_ps128(self), _mm256_extractf128_ps::<1>(self));
                let two = _mm_add_ps(four, _mm_movehl_ps(four, four));
                _mm_cvtss_f32(_mm_add_ss(two, _mm_movehdup_ps(two)))
            }
        }
    }
}

#[cfg(target_arch = "x86_64")]
mod sse2 {
    use super::Eight;
    use half::f16;
    use std::arch::x86_64::{
        __m128, __m128i, _mm_add_ps, _mm_add_ss, _mm_and_si128, _mm_castps_si128, _mm_castsi128_ps, _mm_cmpeq_epi32,
        _mm_cvtss_f32, _mm_loadu_ps, _mm_loadu_si128, _mm_movehl_ps, _mm_mul_ps, _mm_or_si128, _mm_set1_epi32,
        _mm_setzero_ps, _mm_setzero_si128, _mm_shuffle_ps, _mm_slli_epi32, _mm_unpackhi_epi16, _mm_unpacklo_epi16,
    };

    #[derive(Clone, Copy)]
    pub struct Two(__m128, __m128);

    /// Four numbers of 16 bits, each in the lower half of 32: their bits moved into place are the number over 2 to the 112th;
    /// what is no number (infinite or none) has the greatest exponent.
    #[inline(always)]
    unsafe fn wide(bits: __m128i) -> __m128 {
        unsafe {
            let moved = _mm_slli_epi32::<13>(_mm_and_si128(bits, _mm_set1_epi32(0x7fff)));
            let number = _mm_mul_ps(_mm_castsi128_ps(moved), _mm_castsi128_ps(_mm_set1_epi32(0x7780_0000)));
            let greatest = _mm_set1_epi32(0x7c00);
            let none = _mm_and_si128(
                _mm_cmpeq_epi32(_mm_and_si128(bits, greatest), greatest),
                _mm_set1_epi32(0x7f80_0000),
            );
            let sign = _mm_slli_epi32::<16>(_mm_and_si128(bits, _mm_set1_epi32(0x8000)));
            _mm_castsi128_ps(_mm_or_si128(_mm_castps_si128(number), _mm_or_si128(none, sign)))
        }
    }

    // SAFETY: every processor of this kind has the instructions; the pointers are the caller's promise.
    impl Eight for Two {
        const FEW: bool = true;

        #[inline(always)]
        unsafe fn zero() -> Self {
            unsafe { Self(_mm_setzero_ps(), _mm_setzero_ps()) }
        }

        #[inline(always)]
        unsafe fn of_32(from: *const f32) -> Self {
            unsafe { Self(_mm_loadu_ps(from), _mm_loadu_ps(from.add(4))) }
        }

        #[inline(always)]
        unsafe fn of_16(from: *const f16) -> Self {
            unsafe {
                let bits = _mm_loadu_si128(from.cast());
                let zero = _mm_setzero_si128();
                Self(
                    wide(_mm_unpacklo_epi16(bits, zero)),
                    wide(_mm_unpackhi_epi16(bits, zero)),
                )
            }
        }

        #[inline(always)]
        unsafe fn and_product(self, a: Self, b: Self) -> Self {
            unsafe {
                Self(
                    _mm_add_ps(self.0, _mm_mul_ps(a.0, b.0)),
                    _mm_add_ps(self.1, _mm_mul_ps(a.1, b.1)),
                )
            }
        }

        #[inline(always)]
        unsafe fn across(self) -> f32 {
            unsafe {
                let four = _mm_add_ps(self.0, self.1);
                let two = _mm_add_ps(four, _mm_movehl_ps(four, four));
                _mm_cvtss_f32(_mm_add_ss(two, _mm_shuffle_ps::<1>(two, two)))
            }
        }
    }
}

#[cfg(target_arch = "aarch64")]
mod neon {
    use super::Eight;
    use half::f16;
    use std::arch::aarch64::{
        float32x4_t, uint32x4_t, vaddq_f32, vandq_u32, vceqq_u32, vdupq_n_f32, vdupq_n_u32, vfmaq_f32, vget_high_u16,
        vget_low_u16, vgetq_lane_f32, vld1q_f32, vld1q_u16, vmovl_u16, vmulq_f32, vorrq_u32, vreinterpretq_f32_u32,
        vreinterpretq_u32_f32, vshlq_n_u32,
    };

    #[derive(Clone, Copy)]
    pub struct Two(float32x4_t, float32x4_t);

    /// As with SSE2.
    #[inline(always)]
    unsafe fn wide(bits: uint32x4_t) -> float32x4_t {
        unsafe {
            let moved = vshlq_n_u32::<13>(vandq_u32(bits, vdupq_n_u32(0x7fff)));
            let number = vmulq_f32(
                vreinterpretq_f32_u32(moved),
                vreinterpretq_f32_u32(vdupq_n_u32(0x7780_0000)),
            );
            let greatest = vdupq_n_u32(0x7c00);
            let none = vandq_u32(vceqq_u32(vandq_u32(bits, greatest), greatest), vdupq_n_u32(0x7f80_0000));
            let sign = vshlq_n_u32::<16>(vandq_u32(bits, vdupq_n_u32(0x8000)));
            vreinterpretq_f32_u32(vorrq_u32(vreinterpretq_u32_f32(number), vorrq_u32(none, sign)))
        }
    }

    // SAFETY: every processor of this kind has the instructions; the pointers are the caller's promise.
    impl Eight for Two {
        const FEW: bool = false;

        #[inline(always)]
        unsafe fn zero() -> Self {
            unsafe { Self(vdupq_n_f32(0.0), vdupq_n_f32(0.0)) }
        }

        #[inline(always)]
        unsafe fn of_32(from: *const f32) -> Self {
            unsafe { Self(vld1q_f32(from), vld1q_f32(from.add(4))) }
        }

        #[inline(always)]
        unsafe fn of_16(from: *const f16) -> Self {
            unsafe {
                let bits = vld1q_u16(from.cast());
                Self(
                    wide(vmovl_u16(vget_low_u16(bits))),
                    wide(vmovl_u16(vget_high_u16(bits))),
                )
            }
        }

        #[inline(always)]
        unsafe fn and_product(self, a: Self, b: Self) -> Self {
            unsafe { Self(vfmaq_f32(self.0, a.0, b.0), vfmaq_f32(self.1, a.1, b.1)) }
        }

        #[inline(always)]
        unsafe fn across(self) -> f32 {
            unsafe {
                let four = vaddq_f32(self.0, self.1);
                (vgetq_lane_f32::<0>(four) + vgetq_lane_f32::<2>(four))
                    + (vgetq_lane_f32::<1>(four) + vgetq_lane_f32::<3>(four))
            }
        }
    }
}

#[cfg(test)]
mod tests;
