// The balance by ear: two oscillators, whose pitches the recorder gives. They are mixed, so that their beat is heard;
// it slows as the sides come together and stops where they are equal.
const GLIDE_S = 0.06;
const MUTE_S = 0.04;

export class Tones {
  constructor() {
    this.on = false;
    this.volume = 0.4;
  }

  // Browsers let sound begin only with a press of the person.
  switch(on) {
    this.on = on;
    if (on && !this.context) this.make();
    if (this.context) on ? this.context.resume() : this.context.suspend();
  }

  make() {
    this.context = new AudioContext();
    this.out = this.context.createGain();
    this.out.gain.value = 0;
    this.out.connect(this.context.destination);
    this.voices = [0, 1].map(() => {
      const voice = this.context.createOscillator();
      voice.type = "sine";
      voice.connect(this.out);
      voice.start();
      return voice;
    });
  }

  // Follows the two pitches, Hz; silent where there is none.
  follow(pitches) {
    if (!this.on || !this.context) return;
    const now = this.context.currentTime;
    const heard = pitches.every((pitch) => pitch !== null);
    // Two voices of half the volume each do not clip; loudness goes with the square, as the ear has it.
    this.out.gain.setTargetAtTime(heard ? 0.5 * this.volume ** 2 : 0, now, MUTE_S);
    if (heard) this.voices.forEach((voice, k) => voice.frequency.setTargetAtTime(pitches[k], now, GLIDE_S));
  }
}
