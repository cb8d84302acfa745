// What an answer sounds and feels like, for eyes that are elsewhere. The sound can be switched off and stays off; the
// word on the screen never depends on it.

const KEY = "sound";
// [hertz, seconds] after one another; vibration in milliseconds on, off, on.
const TUNES = {
  good: { notes: [[880, 0.12], [1320, 0.18]], buzz: [80] },
  stop: { notes: [[220, 0.28], [0, 0.08], [220, 0.28], [0, 0.08], [220, 0.45]], buzz: [300, 100, 300, 100, 500] },
  unknown: { notes: [[330, 0.2], [0, 0.08], [247, 0.35]], buzz: [150, 100, 150] },
};
let speaker = null;

export const isMuted = () => {
  try {
    return localStorage.getItem(KEY) === "off";
  } catch {
    return false;
  }
};

export function mute(off) {
  try {
    localStorage.setItem(KEY, off ? "off" : "on");
  } catch {
    // a browser that keeps nothing: the sound is on again at the next start
  }
}

function play(notes) {
  speaker ??= new AudioContext();
  speaker.resume().catch(() => {});
  const tone = speaker.createOscillator();
  const loudness = speaker.createGain();
  tone.type = "square";
  tone.connect(loudness).connect(speaker.destination);
  let at = speaker.currentTime;
  for (const [hertz, seconds] of notes) {
    tone.frequency.setValueAtTime(hertz || 1, at);
    loudness.gain.setValueAtTime(hertz ? 0.2 : 0, at);
    at += seconds;
  }
  tone.start();
  tone.stop(at);
}

export function alertOf(verdict) {
  const { notes, buzz } = TUNES[verdict] ?? TUNES.unknown;
  // Browsers refuse both, and complain, until somebody has touched the page.
  if (navigator.userActivation && !navigator.userActivation.hasBeenActive) return;
  navigator.vibrate?.(buzz);
  if (isMuted()) return;
  try {
    play(notes);
  } catch {
    // no loudspeaker: the word is there
  }
}
