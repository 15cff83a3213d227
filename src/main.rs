//! The `cableside` program: parse, run one command, print one error.

fn main() {}
