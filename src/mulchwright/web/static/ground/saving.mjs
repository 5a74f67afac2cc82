// Every act goes to the book at once, in order, one at a time. What could not be sent waits, is said to wait, and
// is tried again; it outlives a reload of the page. A clash stops the line until the grower has chosen.

const KEPT = "mulchwright-plan-unsaved";
const RETRY_MS = 2500;
const PATIENCE_MS = 20000;

export class Saver {
  // listener: { saved(plan, item), refused(message, item), clash(answer, item), status(words, kind) }
  constructor(listener, revision) {
    this.listener = listener;
    this.revision = revision;
    this.queue = [];
    this.stopped = false;
    this.busy = false;
    window.addEventListener("online", () => this.pump());
    window.addEventListener("beforeunload", (event) => {
      if (this.queue.length) event.preventDefault();
    });
  }

  // What an earlier visit of this window could not save.
  left() {
    try {
      return JSON.parse(sessionStorage.getItem(KEPT) ?? "[]");
    } catch {
      return [];
    }
  }

  touches(id) {
    return this.queue.some((item) => item.acts.some((act) => act.id === id));
  }

  add(item) {
    this.queue.push(item);
    this.keep();
    this.pump();
  }

  keep() {
    try {
      if (this.queue.length) sessionStorage.setItem(KEPT, JSON.stringify(this.queue));
      else sessionStorage.removeItem(KEPT);
    } catch {
      // A browser that keeps nothing still saves to the book.
    }
  }

  async pump() {
    if (this.busy || this.stopped || !this.queue.length) return;
    this.busy = true;
    clearTimeout(this.timer);
    const item = this.queue[0];
    this.listener.status("Saving …", "busy");
    try {
      const acts = item.acts.map(({ kind, before, after }) => ({ kind, before, after }));
      const response = await fetch("/ground/acts", {
        method: "POST", headers: { "content-type": "application/json" }, signal: AbortSignal.timeout(PATIENCE_MS),
        body: JSON.stringify({ revision: this.revision, what: item.what, acts }),
      });
      const answer = await response.json();
      if (response.ok) {
        this.queue.shift();
        this.keep();
        const merged = answer.merged && answer.plan.revision > this.revision + 1;
        this.revision = answer.plan.revision;
        this.rebase(item, answer.plan);
        this.listener.saved(answer.plan, item);
        if (!this.queue.length) this.listener.status(merged ? "Saved. Another window changed other things; you see both." : "Saved", "good");
      } else if (response.status === 409) {
        this.stopped = true;
        this.revision = answer.plan.revision;
        this.listener.clash(answer, item);
      } else if (response.status === 503) {
        throw new Error(answer.message);
      } else {
        this.queue.shift();
        this.keep();
        this.listener.refused(answer.message, item);
      }
    } catch (error) {
      const why = error instanceof TypeError || error.name === "TimeoutError" ? "The program cannot be reached." : error.message;
      this.listener.status(`Not saved yet. ${why} Your changes wait here and are tried again.`, "bad");
      this.timer = setTimeout(() => this.pump(), RETRY_MS);
      this.busy = false;
      return;
    }
    this.busy = false;
    this.pump();
  }

  // Later acts on the same thing start from what the book now has.
  rebase(done, plan) {
    for (const { id } of done.acts) {
      const now = plan.objects.find((thing) => `${thing.of}/${thing.key}` === id) ?? null;
      const next = this.queue.flatMap((item) => item.acts).find((act) => act.id === id);
      if (next && now) next.before = now;
    }
  }

  resume() {
    this.stopped = false;
    this.keep();
    if (this.queue.length) this.pump();
    else this.listener.status("Saved", "good");
  }
}
