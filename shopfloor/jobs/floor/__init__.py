"""What the screen at the table shows and sends."""
