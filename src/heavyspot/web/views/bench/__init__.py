"""The bench as its templates show it: one sentence, its pictures, what the pedal does."""
