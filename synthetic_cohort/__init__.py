"""An invented cohort, written as an ordinary study folder, and the truth behind it."""
