//! Integration tests.

mod bad_files;
mod guide;
