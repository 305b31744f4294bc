//! How the full screen looks: colours that can be read, characters that can be shown.

mod contrast;
