"use strict";
// The page plays each sound by itself without this script. It plays them all at once,
// of which one is heard, so that a change between them has no gap.
(() => {
  const player = document.querySelector("form.player");
  const tracks = document.querySelector(".tracks");
  const button = player.querySelector("[data-do=play]");
  const { volume, decibel } = player.elements;
  const fade = 0.02; // s: no click
  let context, sounds, master, running = [];

  // The sounds stand in the page as text, and come from nowhere else.
  const decoded = (audio) => {
    const text = atob(audio.src.slice(audio.src.indexOf(",") + 1));
    const bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
    return context.decodeAudioData(bytes.buffer);
  };
  const glide = (gain, to, seconds = fade) => {
    const now = context.currentTime;
    gain.cancelScheduledValues(now);
    gain.setValueAtTime(gain.value, now);
    gain.linearRampToValueAtTime(to, now + seconds);
  };
  const chosen = () => Number(player.elements.sound.value);
  const loudness = () => Math.pow(10, volume.value / 20);

  const start = async () => {
    context ??= new AudioContext();
    context.resume().catch(() => {}); // without a sound device it never comes to an end
    sounds ??= await Promise.all([...tracks.querySelectorAll("audio")].map(decoded));
    master = new GainNode(context, { gain: 0 });
    master.connect(context.destination);
    const at = context.currentTime + fade;
    running = sounds.map((buffer, i) => {
      const source = new AudioBufferSourceNode(context, { buffer, loop: true });
      const gain = new GainNode(context, { gain: i === chosen() ? 1 : 0 });
      source.connect(gain).connect(master);
      source.start(at);
      return { source, gain: gain.gain };
    });
    glide(master.gain, loudness(), 0.5);
  };
  const stop = () => {
    glide(master.gain, 0);
    for (const { source } of running) source.stop(context.currentTime + 2 * fade);
    running = [];
  };

  button.addEventListener("click", async () => {
    button.disabled = true;
    try {
      if (running.length) stop(); else await start();
    } catch {
      player.hidden = true; // this browser plays them one by one
      tracks.hidden = false;
    }
    button.textContent = running.length ? "Stop" : "Play";
    button.disabled = false;
  });
  player.addEventListener("change", () => running.forEach(({ gain }, i) => glide(gain, i === chosen() ? 1 : 0)));
  volume.addEventListener("input", () => {
    decibel.value = volume.value.replace("-", "−") + " dB";
    if (running.length) glide(master.gain, loudness());
  });
  document.addEventListener("keydown", (e) => {
    const choice = player.querySelector(`input[value="${e.key - 1}"]`);
    if (!choice || e.ctrlKey || e.altKey || e.metaKey || !/^[1-9]$/.test(e.key)) return;
    choice.checked = true;
    choice.dispatchEvent(new Event("change", { bubbles: true }));
  });
  player.addEventListener("submit", (e) => e.preventDefault());

  player.hidden = document.getElementById("player-help").hidden = false;
  tracks.hidden = true;
})();
