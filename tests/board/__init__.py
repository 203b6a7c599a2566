"""The package on a bare Debian: built, installed, set up, measured, upgraded, removed."""
