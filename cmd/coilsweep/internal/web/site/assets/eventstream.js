// EventParser takes the bytes of an event stream as text, in pieces that break
// anywhere, and gives the events in them (WHATWG HTML, "Server-sent events",
// without ids and retry, which our server does not send).
export class EventParser {
  #rest = "";
  #topic = "";
  #data = [];

  // feed returns the events that are complete now, as {topic, data}.
  feed(text) {
    const events = [];
    // A lone CR at the end may be half of a CRLF: it waits for the next piece.
    const lines = (this.#rest + text).split(/\r\n|\n|\r(?!$)/);
    this.#rest = lines.pop();
    for (const line of lines) {
      if (line === "") {
        if (this.#data.length) events.push({ topic: this.#topic || "message", data: this.#data.join("\n") });
        this.#topic = "";
        this.#data = [];
        continue;
      }
      const colon = line.indexOf(":");
      if (colon === 0) continue; // a comment keeps the line open
      const field = colon < 0 ? line : line.slice(0, colon);
      let value = colon < 0 ? "" : line.slice(colon + 1);
      if (value.startsWith(" ")) value = value.slice(1);
      if (field === "event") this.#topic = value;
      else if (field === "data") this.#data.push(value);
    }
    return events;
  }
}
