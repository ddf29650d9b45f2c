"""Many runs to one decision: window, sequences, risk, calibration."""
