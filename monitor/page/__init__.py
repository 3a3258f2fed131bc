"""The page: the station on a phone, in a process of its own. It reads the station's word and the journals, and can do nothing."""
