//! Whether the picture can be trusted: darkness, frozen frames, light steps, something in the
//! way. What cannot be seen becomes a blind spell with its reason, never a guess.
