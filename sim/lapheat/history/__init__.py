"""What happened: peaks, traces and ledger of a run, and where filler could wet."""
