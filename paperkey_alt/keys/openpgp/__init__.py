"""OpenPGP keys (RFC 9580): packets, and what of them goes on paper."""
