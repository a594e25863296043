//! Stories told through Chromium against the real server.
