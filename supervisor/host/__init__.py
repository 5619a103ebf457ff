"""The machine it runs on: what is wrong there, and its unit files put in place."""
