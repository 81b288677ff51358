// The WebSocket to the station. Silence is taken for what it is: a lost connection.
const BEAT = 1000;
const SILENCE = 2500; // so long without a sign of life, and the page says so
const PATIENCE = 4000; // for a connection to come about
const AGAIN = [300, 700, 1500, 3000];

export class Line {
  constructor(path, { message, pictureOf, lost, back }) {
    this.address = new URL(path, location.href);
    this.address.protocol = location.protocol === "https:" ? "wss:" : "ws:";
    Object.assign(this, { message, pictureOf, lost, back });
    this.tries = 0;
    this.isBack = false;
    this.query = "";
    this.connect();
    setInterval(() => this.watch(), 250);
    addEventListener("offline", () => this.cut());
    addEventListener("online", () => { if (!this.socket) this.connect(); });
    document.addEventListener("visibilitychange", () => { if (!document.hidden && !this.socket) this.connect(); });
  }

  get open() {
    return this.socket?.readyState === WebSocket.OPEN;
  }

  connect() {
    clearTimeout(this.again);
    const address = new URL(this.address);
    if (this.query) address.search = this.query;
    const socket = new WebSocket(address);
    socket.binaryType = "blob";
    this.socket = socket;
    this.heardAt = this.beatAt = performance.now();
    socket.onmessage = ({ data }) => {
      if (socket !== this.socket) return;
      this.heardAt = performance.now();
      if (typeof data !== "string") { this.pictureOf(data); return; }
      const said = JSON.parse(data);
      if (said.is === "screen" && !this.isBack) {
        this.isBack = true;
        this.tries = 0;
        this.back();
      }
      this.message(said);
    };
    socket.onclose = () => { if (socket === this.socket) this.cut(); };
  }

  // Another camera is asked for with another connection.
  reconnect(query) {
    if (query === this.query) return;
    this.query = query;
    const before = this.socket;
    this.connect();
    before?.close();
  }

  say(said) {
    if (this.open) this.socket.send(JSON.stringify(said));
  }

  frame(blob) {
    if (this.open) this.socket.send(blob);
  }

  watch() {
    const now = performance.now();
    if (!this.socket) return;
    const silent = now - this.heardAt;
    if (silent > (this.open ? SILENCE : PATIENCE)) this.cut();
    else if (this.open && now - this.beatAt > BEAT) {
      this.beatAt = now;
      this.say({ do: "beat" });
    }
  }

  cut() {
    const socket = this.socket;
    this.socket = null;
    this.isBack = false;
    socket?.close();
    this.lost();
    clearTimeout(this.again);
    this.again = setTimeout(() => this.connect(), AGAIN[Math.min(this.tries++, AGAIN.length - 1)]);
  }
}
