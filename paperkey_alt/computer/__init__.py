"""The computer at hand, and whether it is fit for a secret key."""
