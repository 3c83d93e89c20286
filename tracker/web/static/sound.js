// One short high tone: taken. Two low ones: refused. One long one: stop and look. Words and colour say the same.
let audio = null;

export function sound(...tones) {
  if (!window.AudioContext) return;
  audio ??= new AudioContext();
  audio.resume?.().catch(() => {});
  tones.forEach((hertz, place) => {
    const tone = audio.createOscillator();
    tone.frequency.value = hertz;
    tone.connect(audio.destination);
    tone.start(audio.currentTime + place * 0.16);
    tone.stop(audio.currentTime + place * 0.16 + (tones.length === 1 && hertz < 700 ? 0.5 : 0.1));
  });
}
