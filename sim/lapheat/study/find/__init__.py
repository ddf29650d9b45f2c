"""Settings for a joint that survive the scatter of a bench."""
