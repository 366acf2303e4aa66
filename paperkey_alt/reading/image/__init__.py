"""Lines on pictures of sheets: by QR symbols, and by the printed rows."""
