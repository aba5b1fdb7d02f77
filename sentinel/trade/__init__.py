"""What the trade knows: locators, call signs, messages, prefixes, band plans. Pure."""
