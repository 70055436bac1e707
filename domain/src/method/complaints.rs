//! What is wrong with a method.
