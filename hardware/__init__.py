"""Everything with a pin, a bus or a lamp. A leaf: it never imports monitor."""
