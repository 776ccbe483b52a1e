"""What people and programs see: the command line. It decides nothing."""
