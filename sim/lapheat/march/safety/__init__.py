"""What every step is held to, and how a march that was cut short goes on."""
