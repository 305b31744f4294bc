//! Questions of the author.
