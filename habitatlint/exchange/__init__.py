"""What comes from other programs and goes to them: waypoints, tracks and areas. Bytes in, text or bytes out."""
