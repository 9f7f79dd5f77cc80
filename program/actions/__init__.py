"""The only code that writes. Every function is keyword-only and named for the verb that staff would say."""
