//! The binary: hands the command line to [`heeltap::cli`].

fn main() {}
