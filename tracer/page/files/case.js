// The desk: what the case comes to, and readings that go there by themselves. In the file for the pocket none of it runs.

let theCase = null;
const live = { connected: false, words: () => "", problems: null };

function caseView() {
  return [h("h2", null, "Case"), h("p", null, "No case is open.")];
}

function handOver() {}
