// judge.js owns asking for the verdict: by the engine in this tablet where it was delivered with the pages, else by
// the server. Only the newest answer counts.

const PAUSE = 80; // ms that taps may follow each other in before the server is asked; house value

let engine = null;

// load fetches the engine; without it the server judges. The Go runtime's loader is a plain script that leaves its
// class behind, and the engine leaves its function.
export async function load() {
  try {
    await import(new URL("../wasm_exec.js", import.meta.url));
    const go = new globalThis.Go();
    const { instance } = await WebAssembly.instantiateStreaming(fetch(new URL("../assess.wasm", import.meta.url)), go.importObject);
    go.run(instance);
    engine = globalThis.solewright.judge;
  } catch (error) {
    console.warn("the engine did not load; the server judges", error);
  }
}

export class Judge {
  #newest = 0;
  #timer = 0;
  #tell;

  // tell is called with (result) of the newest reading, or with (null, why): "line" when nobody could be asked,
  // "signed-out", or the problem that the server answered with.
  constructor(tell) { this.#tell = tell; }

  // ask judges { reading, as_new, rules }. The server knows model and rules by itself and is sent the reading alone.
  ask(body) {
    const mine = ++this.#newest;
    clearTimeout(this.#timer);
    if (engine) {
      this.#tell(...judgeByEngine(body));
      return;
    }
    this.#timer = setTimeout(async () => {
      const [result, why] = await judgeByServer(body.reading);
      if (mine !== this.#newest) return;
      this.#tell(...(!result && engine ? judgeByEngine(body) : [result, why])); // the engine may have come meanwhile
    }, PAUSE);
  }
}

// judgeByEngine returns [result], or [null, the problem].
function judgeByEngine(body) {
  const answer = JSON.parse(engine(JSON.stringify(body)));
  return answer.errors ? [null, answer] : [answer];
}

// judgeByServer returns [result], or [null, why] as a Judge tells it.
export async function judgeByServer(reading) {
  try {
    const answer = await fetch("/api/v1/judge", {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(reading),
    });
    if (answer.ok) return [await answer.json()];
    if (answer.status === 401) return [null, "signed-out"];
    return [null, await answer.json()];
  } catch {
    return [null, "line"];
  }
}
