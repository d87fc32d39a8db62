"""What is asked of a can bottom: reversal, growth, wave onsets, slopes."""
