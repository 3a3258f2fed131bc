"""What `develop` and `status` show and ask on a terminal while a session is prepared or runs."""
