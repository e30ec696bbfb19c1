"""The simulated rig: a rotor from mechanics, sensors with faults. Imports neither signal nor balance."""
