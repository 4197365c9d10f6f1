"""How sites write dates, by the language that packs/pages/doors.py activates."""
