//! Every arm of the kernel against the definition.

use super::*;

#[test]
fn every_arm_gives_what_the_definition_gives() {
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
        for (_, arm) in Arm::all() {
            out.fill(9.0);
            arm.products(xs, ws, length, &mut out, others);
            near(&out, 1e-4);
            out.fill(9.0);
            arm.products(xs, hs, length, &mut out, others);
            near(&out, 0.2);
        }
    }
}

#[test]
#[allow(clippy::float_cmp, reason = "widening is exact")]
fn every_number_of_16_bits_is_read_as_what_it_is() {
    let one = [1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
    for bits in 0..=u16::MAX {
        let number = f16::from_bits(bits);
        let mut eight = [f16::ZERO; 8];
        eight[0] = number;
        for (name, arm) in Arm::all() {
            let mut out = [9.0];
            arm.products(Rows::packed(&one, 8), Rows::packed(&eight, 8), 8, &mut out, 1);
            let right = number.to_f32();
            assert!(
                out[0] == right || right.is_nan() && out[0].is_nan(),
                "{name} {bits:x}: {} {right}",
                out[0]
            );
        }
    }
}

/// So the numbers do not depend on the kind of processor: this test runs on each.
#[test]
fn where_multiplying_and_adding_is_one_instruction_every_bit_is_prescribed() {
    for (name, arm) in Arm::all()
        .into_iter()
        .filter(|(name, _)| ["avx2", "neon"].contains(name))
    {
        for (rows, others, length) in [(1, 1, 8), (5, 3, 64), (4, 2, 19), (9, 7, 3), (7, 2, 320)] {
            let number = |n: usize| ((n * 7919 % 1009) as f32 - 500.0) / 237.0;
            let x: Vec<f32> = (0..rows * length).map(number).collect();
            let w: Vec<f16> = (0..others * length).map(|n| f16::from_f32(number(n + 13))).collect();
            let mut out = vec![9.0; rows * others];
            arm.products(
                Rows::packed(&x, length),
                Rows::packed(&w, length),
                length,
                &mut out,
                others,
            );
            for (n, found) in out.iter().enumerate() {
                let (x, w) = (&x[n / others * length..][..length], &w[n % others * length..][..length]);
                let whole = length / 8 * 8;
                let mut eight = [0.0_f32; 8];
                for k in 0..whole {
                    eight[k % 8] = x[k].mul_add(w[k].to_f32(), eight[k % 8]);
                }
                let four: [f32; 4] = std::array::from_fn(|k| eight[k] + eight[k + 4]);
                let mut right = (four[0] + four[2]) + (four[1] + four[3]);
                for k in whole..length {
                    right += x[k] * w[k].to_f32();
                }
                assert_eq!(found.to_bits(), right.to_bits(), "{name}, {length}: {found} {right}");
            }
        }
    }
}

#[test]
fn an_arm_is_asked_for_by_its_name() {
    let names: Vec<&str> = Arm::all().into_iter().map(|(name, _)| name).collect();
    assert_eq!(Arm::named("plain".as_ref()), Ok(Arm::Plain));
    assert_eq!(Arm::named("".as_ref()), Ok(Arm::best()));
    let why = Arm::named("avx9".as_ref()).unwrap_err();
    assert!(why.contains("avx9") && names.iter().all(|n| why.contains(n)), "{why}");
}
