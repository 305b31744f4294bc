//! Asking in plain lines.
