//! Integration tests.

mod bad_files;
mod flagship;
mod guide;
