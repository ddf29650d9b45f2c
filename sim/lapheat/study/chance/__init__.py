"""What a bench varies, and a smooth response fitted to runs: what chances are computed with."""
