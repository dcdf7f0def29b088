"""What several tests share: stand-ins, references computed another way, servers and sound files."""
