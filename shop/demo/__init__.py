"""The made-up shop: a mechanism that ages packs, what the shop saw of them, and its loading."""
