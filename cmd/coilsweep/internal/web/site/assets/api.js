// Requests to the program, and the stream of its events.
import * as key from "./key.js";
import { EventParser } from "./eventstream.js";

// Failure is an answer that is not good: what to say, and which field it is about.
export class Failure extends Error {
  constructor(status, body) {
    super(body.error || (status === 0 ? "The program does not answer." : `The program answers with status ${status}.`));
    this.status = status;
    this.field = body.field || "";
    this.running = body.running || "";
    this.exists = Boolean(body.exists);
  }
  get refused() { return this.status === 401; }
  get changedElsewhere() { return this.status === 409 && !this.running && !this.exists; }
}

let whenRefused = () => {};
export function onRefused(call) { whenRefused = call; }

export function address(path, query = {}) {
  const search = new URLSearchParams(query).toString();
  return search ? `${path}?${search}` : path;
}

async function request(method, path, body, signal) {
  const headers = { "X-Coilsweep-Key": key.get() };
  let payload;
  if (body instanceof FormData) {
    payload = body;
  } else if (body !== undefined) {
    headers["Content-Type"] = "application/json";
    payload = JSON.stringify(body);
  }
  let response;
  try {
    response = await fetch(path, { method, headers, body: payload, cache: "no-store", signal });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Failure(0, {});
  }
  let answer = {};
  const text = await response.text();
  if (text) {
    try { answer = JSON.parse(text); } catch { answer = { error: response.ok ? "" : text.slice(0, 300) }; }
  }
  if (!response.ok) {
    const failure = new Failure(response.status, answer ?? {});
    if (failure.refused) whenRefused(failure);
    throw failure;
  }
  return answer;
}

export const get = (path, query, signal) => request("GET", address(path, query), undefined, signal);
export const post = (path, body = {}, signal) => request("POST", path, body, signal);
export const put = (path, body) => request("PUT", path, body);

// The server sends a comment every 10 s: a longer silence is a lost line.
const SILENCE_MS = 25_000;
const RETRY_MS = [200, 500, 1000, 2000];

// listen reads the events for as long as the page lives, and goes on by itself
// after a loss. onEvent(topic, value); onLine("open" | "lost" | "refused", what the
// program said of it).
export async function listen(onEvent, onLine) {
  for (let failed = 0; ; ) {
    const abort = new AbortController();
    let watch = 0, said = "";
    const alive = () => {
      clearTimeout(watch);
      watch = setTimeout(() => abort.abort(), SILENCE_MS);
    };
    try {
      alive();
      const response = await fetch("/api/events", {
        headers: { "X-Coilsweep-Key": key.get(), Accept: "text/event-stream" }, cache: "no-store", signal: abort.signal,
      });
      if (response.status === 401 || response.status === 403) {
        clearTimeout(watch);
        onLine("refused");
        return;
      }
      if (!response.ok) {
        said = (await response.json().catch(() => ({}))).error ?? "";
        throw new Error(said);
      }
      failed = 0;
      onLine("open");
      const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
      const parser = new EventParser();
      for (;;) {
        const { done, value } = await reader.read();
        if (done) break;
        alive();
        for (const { topic, data } of parser.feed(value)) {
          let parsed;
          try { parsed = JSON.parse(data); } catch { continue; }
          onEvent(topic, parsed);
        }
      }
    } catch { /* lost: said below */ }
    clearTimeout(watch);
    abort.abort();
    onLine("lost", said);
    await new Promise((resolve) => setTimeout(resolve, RETRY_MS[Math.min(failed++, RETRY_MS.length - 1)]));
  }
}
