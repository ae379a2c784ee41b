// Pieces of sound that Python has not confirmed yet, kept in the browser's own store: they outlive a closed page, a dead
// kernel and an empty battery. Where the browser has no such store (a private window), they are kept in memory.

function pieceStore() {
  const memory = new Map(); // "page/number" -> piece
  const abouts = new Map();
  let base = null;

  const opened = new Promise((resolve) => {
    let request;
    try {
      request = indexedDB.open("pianolab-recorder", 1);
    } catch {
      return resolve(null);
    }
    request.onupgradeneeded = () => {
      request.result.createObjectStore("pieces", { keyPath: ["page", "number"] });
      request.result.createObjectStore("abouts", { keyPath: "page" });
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = request.onblocked = () => resolve(null);
  }).then((found) => (base = found));

  function act(store, mode, what) {
    return new Promise((resolve, reject) => {
      const deal = base.transaction(store, mode);
      const request = what(deal.objectStore(store));
      deal.oncomplete = () => resolve(request.result);
      deal.onerror = deal.onabort = () => reject(deal.error);
    });
  }
  async function or(fallback, store, mode, what) {
    await opened;
    if (!base) return fallback();
    try {
      return await act(store, mode, what);
    } catch {
      return fallback();
    }
  }
  const id = (page, number) => `${page}/${number}`;

  return {
    begin: (about) => {
      abouts.set(about.page, about);
      return or(() => undefined, "abouts", "readwrite", (s) => s.put(about));
    },
    put(piece) {
      memory.set(id(piece.page, piece.number), piece);
      return or(() => undefined, "pieces", "readwrite", (s) => s.put(piece));
    },
    confirmed(page, numbers) {
      for (const number of numbers) memory.delete(id(page, number));
      return or(() => undefined, "pieces", "readwrite", (s) => {
        let last;
        for (const number of numbers) last = s.delete([page, number]);
        return last;
      });
    },
    // Pieces of a page that wait, the lowest numbers first.
    async waiting(page, most) {
      const here = [...memory.values()].filter((p) => p.page === page).sort((a, b) => a.number - b.number);
      if (here.length) return here.slice(0, most);
      return or(() => [], "pieces", "readonly", (s) => s.getAll(IDBKeyRange.bound([page, 0], [page, Infinity]), most));
    },
    count: () => memory.size,
    abouts: () => or(() => [...abouts.values()], "abouts", "readonly", (s) => s.getAll()),
    forget(page) {
      abouts.delete(page);
      for (const key of [...memory.keys()]) if (key.startsWith(`${page}/`)) memory.delete(key);
      return or(() => undefined, "pieces", "readwrite", (s) => s.delete(IDBKeyRange.bound([page, 0], [page, Infinity])))
        .then(() => or(() => undefined, "abouts", "readwrite", (s) => s.delete(page)));
    },
  };
}
