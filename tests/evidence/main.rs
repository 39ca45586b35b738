//! Statistics against published answers, other libraries' answers, and what must hold for any data.

mod cases;
mod computed;
mod data;
mod plots;
mod properties;
mod published;
mod refusals;
