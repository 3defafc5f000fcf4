"""Stage 6: outcomes, reasons, what would change them, digests."""
