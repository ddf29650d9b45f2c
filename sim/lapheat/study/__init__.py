"""Many runs to one decision: find, window, sequences, risk, calibration."""
