//! A reading against an order by a rule set. Pure; no tolerance stands in the code.

pub mod verdict;
