// Keeps the phone's screen on. Over plain http there is no wake lock (it needs a secure context);
// a playing video with sound, though the sound is silence, keeps the screen on there as well.

const LOOKS_MS = 2000;

export class Awake {
  constructor(tell) {
    this.tell = tell;       // "lock", "video", "lost" or "off"
    this.video = null;
    this.lock = null;
    this.how = "off";
    this.place = -1;
    this.lookedAt = 0;
  }

  // Has to be called in a tap: a video that has sound may begin only there.
  async begin() {
    this.video ??= makeVideo();
    await Promise.allSettled([this.video.play(), this.ask()]);
    this.look(Infinity);
  }

  async ask() {
    this.lock = await navigator.wakeLock.request("screen");
    this.lock.addEventListener("release", () => { this.lock = null; });
  }

  end() {
    this.video?.pause();
    this.video?.remove();
    this.video = null;
    this.lock?.release();
    this.lock = null;
    this.say("off");
  }

  // A call or another program may have ended either: only what is seen to go on is claimed.
  look(now) {
    if (!this.video || now - this.lookedAt < LOOKS_MS) return;
    this.lookedAt = now === Infinity ? performance.now() : now;
    const plays = !this.video.paused && this.video.currentTime !== this.place;
    this.place = this.video.currentTime;
    this.say(this.lock ? "lock" : plays ? "video" : "lost");
    if (document.visibilityState !== "visible") return;
    if (this.video.paused) this.video.play().catch(() => {});
    if (!this.lock) this.ask().catch(() => {});
  }

  say(how) {
    if (how !== this.how) this.tell(how);
    this.how = how;
  }
}

function makeVideo() {
  const video = document.createElement("video");
  video.loop = true;
  video.playsInline = true;
  video.tabIndex = -1;
  video.setAttribute("aria-hidden", "true");
  for (const [src, type] of [["/awake.mp4", "video/mp4"], ["/awake.webm", "video/webm"]]) {
    const source = document.createElement("source");
    Object.assign(source, {src, type});
    video.append(source);
  }
  document.body.append(video);
  return video;
}
