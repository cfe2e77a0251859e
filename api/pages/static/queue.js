// What was entered in the row and has not been sent yet. It is kept in this
// browser until the service has it, and used by the pages and by worker.js.
//
// Each entry is sent until the service answers it, in the order in which
// entries were made. That leaves one record, however often a reply is lost on
// the way: the service takes a sighting, picking or frost that it has already
// as the same one.
//
// An entry:
//	id       counts up
//	who      identifier of whose it is; name: what they are called
//	farm     identifier of the farm; farmName: what it is called
//	key      what it is about, with the farm; a newer entry of the same key takes its place
//	text     what was entered, in words
//	at       when (ms)
//	method, path, body, list   the request, its path at the service, and the list its answer comes in
//	back     the path that takes it back; without it, path/{id of the answer}
//	was      the body that was on record before, to be put back by an undo
//	state    "waiting", "sent", "refused" or "taken" (taken back)
//	tried    it was sent at least once, so the service may have it
//	undo     it is to be taken back
//	over     a newer entry has replaced it at the service: no undo
//	reason   why it was refused; doneAt: when it was answered (ms)
'use strict';

const queue = (() => {
	// The path that the service is under, "" for none. What browsers keep goes by it,
	// for another service of the same site is another.
	const root = self.document ? new URL(document.currentScript.src).pathname.replace(/\/static\/queue\.js$/, '') : location.pathname.replace(/\/worker\.js$/, '');
	const named = `ripetide${root}`;
	const KEEP_DONE = 12 * 60 * 60 * 1000; // ms that what is settled stays in the list.
	const PATIENCE = 20 * 1000; // ms to wait for an answer.
	const others = 'BroadcastChannel' in self ? new BroadcastChannel(`${named}-queue`) : null;
	const STORE_PATIENCE = 5 * 1000; // ms to wait for the browser's store.
	let opening = null, close = () => {};

	// open opens the store, if it is not open. A page that is left meanwhile may
	// be put to sleep half-way by the browser, and everybody would wait for it.
	// One that holds a lock is not put to sleep, or for good when another wants
	// the lock: so it is opened under one.
	function open() {
		if (opening) return opening;
		let db = null;
		const closed = new AbortController();
		const mine = () => {
			if (close === mine) opening = null;
			closed.abort();
			db?.close();
		};
		const opens = alone(`${named}-open`, closed.signal, () => new Promise((resolve, reject) => {
			const request = indexedDB.open(named, 1);
			request.onupgradeneeded = () => request.result.createObjectStore('row');
			request.onsuccess = () => {
				db = request.result;
				db.onclose = db.onversionchange = mine;
				resolve(db);
				if (closed.signal.aborted) db.close(); // It came too late.
			};
			request.onerror = () => reject(request.error);
		}));
		close = mine;
		opening = new Promise((resolve, reject) => {
			opens.then(resolve, (error) => { mine(); reject(error); });
			setTimeout(() => {
				if (db) return;
				mine();
				reject(new Error('the store does not open'));
			}, STORE_PATIENCE);
		});
		return opening;
	}
	if (self.document) addEventListener('pagehide', () => close()); // For the same reason.

	// alone runs a job while nobody else runs one of that name: not another tab,
	// and not the worker.
	function alone(name, signal, job) {
		return navigator.locks ? navigator.locks.request(name, {signal}, job) : job();
	}

	// use runs steps on the store, with nobody between: not another tab, and
	// not the worker. What steps returns is called for the result once that is
	// on the disk. It fails, and has changed nothing, rather than wait for ever.
	async function use(mode, steps) {
		const db = await open();
		return new Promise((resolve, reject) => {
			const tx = db.transaction('row', mode, {durability: 'strict'});
			const late = setTimeout(() => tx.abort(), STORE_PATIENCE);
			const result = steps(tx.objectStore('row'));
			tx.oncomplete = () => { clearTimeout(late); resolve(result()); };
			tx.onabort = () => { clearTimeout(late); reject(tx.error ?? new Error('the store does not answer')); };
		});
	}

	const empty = () => ({next: 1, me: null, hold: '', entries: []});

	// change reads the queue, lets edit change it, and writes it.
	function change(edit) {
		return use('readwrite', (store) => {
			const read = store.get('queue');
			let result;
			read.onsuccess = () => {
				const q = read.result ?? empty();
				result = edit(q);
				const old = Date.now() - KEEP_DONE;
				q.entries = q.entries.filter((e) => pending(e) || e.state === 'refused' || e.doneAt > old);
				store.put(q, 'queue');
			};
			return () => result;
		});
	}

	// look returns the queue as it is.
	function look() {
		return use('readonly', (store) => {
			const read = store.get('queue');
			return () => read.result ?? empty();
		});
	}

	// pending reports whether something of an entry is still to be sent.
	const pending = (e) => e.state === 'waiting' || (e.state === 'sent' && e.undo);

	// add puts an entry at the end. One of the same key that never left this
	// browser, or was refused, gives way to it.
	async function add(entry) {
		await change((q) => {
			const stay = [];
			for (const e of q.entries) {
				if (e.key !== entry.key || e.who !== entry.who || e.state === 'taken') {
					stay.push(e);
				} else if (e.state === 'refused') {
					// Corrected by this one.
				} else if (e.state === 'waiting' && !e.tried) {
					entry.was = e.was;
				} else {
					// The service has it, or may have: then that is what an
					// undo puts back, unless the page has read the record since.
					if (e.undo) entry.was = e.was;
					else if (e.body && !(e.state === 'sent' && e.doneAt < entry.readAt)) entry.was = e.body;
					e.over = true;
					stay.push(e);
				}
			}
			stay.push({...entry, id: q.next++, at: Date.now(), state: 'waiting', tried: false});
			q.entries = stay;
		});
		tell();
	}

	// undo takes an entry back: out of the queue, or from the service.
	async function undo(id) {
		await change((q) => {
			const e = q.entries.find((e) => e.id === id);
			if (!e || e.over) return;
			if (e.state === 'waiting' && !e.tried) q.entries = q.entries.filter((x) => x !== e);
			else e.undo = true; // Also one whose reply is missing: the service may have it.
		});
		tell();
	}

	// dismiss forgets an entry that was refused.
	async function dismiss(id) {
		await change((q) => { q.entries = q.entries.filter((e) => e.id !== id || e.state !== 'refused'); });
		tell();
	}

	// adopt makes the waiting entries of somebody else those of the person who
	// is signed in now.
	async function adopt() {
		await change((q) => {
			for (const e of q.entries) if (q.me && pending(e)) Object.assign(e, {who: q.me.id, name: q.me.name});
		});
		tell();
	}

	// setMe says who is signed in; null: nobody. Then nothing is sent, and only
	// what is not settled stays.
	async function setMe(me) {
		await change((q) => {
			q.me = me;
			if (!me) q.entries = q.entries.filter((e) => pending(e) || e.state === 'refused');
			if (me && q.hold === 'sign-in') q.hold = '';
		});
		tell();
	}

	// send sends what waits, one after another, until nothing does or there is
	// no use in going on. Of many tabs and the worker one does at a time. It
	// resolves to why it stopped: '' (all is sent), 'signal', 'service' or
	// 'sign-in'.
	async function send() {
		return alone(`${named}-send`, undefined, async () => { // Sent twice would be kept once.
			for (;;) {
				// Not tried where it surely cannot leave: then an undo is
				// sure that the service has nothing of it.
				if (!navigator.onLine) return waitForSignal();
				const step = await change(nextStep);
				if (!step) return (await look()).hold;
				const answer = await ask(step);
				await change((q) => settle(q, step, answer));
				tell();
				if (answer.hold) return answer.hold;
			}
		});
	}

	async function waitForSignal() {
		return change((q) => { q.hold = q.entries.some(pending) ? 'signal' : ''; return q.hold; });
	}

	// nextStep returns the next request, and marks its entry as tried before
	// it leaves.
	function nextStep(q) {
		if (!q.me) {
			q.hold = 'sign-in';
			return null;
		}
		const e = q.entries.find((e) => e.who === q.me.id && pending(e));
		if (!e) {
			q.hold = '';
			return null;
		}
		if (e.state === 'waiting') {
			e.tried = true;
			return {id: e.id, method: e.method, path: e.path, body: e.body, list: e.list};
		}
		if (e.was) return {id: e.id, undoes: true, method: 'POST', path: e.path, body: e.was, list: e.list};
		return {id: e.id, undoes: true, method: 'DELETE', path: e.back};
	}

	// ask sends one request. Only an answer that is surely the service's own
	// counts: where a phone is asked to log in to some network first, anything
	// may come back.
	async function ask(step) {
		let response, text;
		try {
			response = await fetch(root + step.path, {
				method: step.method, redirect: 'error', cache: 'no-store', signal: AbortSignal.timeout(PATIENCE),
				...(step.body && {headers: {'Content-Type': 'application/json'}, body: JSON.stringify({[step.list]: [step.body]})}),
			});
			text = await response.text();
		} catch {
			return {hold: 'signal'};
		}
		const type = response.headers.get('Content-Type') ?? '';
		const json = type.startsWith('application/problem+json') || type.startsWith('application/json') ? parse(text) : null;
		if (step.method === 'DELETE' && response.status === 204) return {ok: true};
		if (step.method === 'POST' && response.status === 200 && json?.[step.list]?.length === 1) return {ok: true, id: json[step.list][0].id};
		if (!type.startsWith('application/problem+json') || !json) return {hold: 'service'};
		if (response.status === 401) {
			await forgetPages();
			return {hold: 'sign-in'};
		}
		if (response.status === 408 || response.status === 429 || response.status >= 500) return {hold: 'service'};
		// It is gone already: a reply was lost, or somebody else was first.
		if (step.method === 'DELETE' && /\/problems\/(sighting|picking|frost)-not-found$/.test(json.type)) return {ok: true};
		return {refused: reason(json)};
	}

	function parse(text) {
		try { return JSON.parse(text); } catch { return null; }
	}

	// reason puts a problem (RFC 9457) in one line.
	function reason(problem) {
		const faults = (problem.errors ?? []).map((f) => f.detail);
		return faults.join('; ') || problem.detail || problem.title;
	}

	// settle writes down what became of a step.
	function settle(q, step, answer) {
		q.hold = answer.hold ?? '';
		const e = q.entries.find((e) => e.id === step.id);
		if (!e || answer.hold) return;
		e.doneAt = Date.now();
		if (answer.refused && e.undo && !step.undoes) {
			e.state = 'taken'; // There is nothing to take back.
		} else if (answer.refused) {
			const reason = step.undoes ? `could not be taken back: ${answer.refused}` : answer.refused;
			Object.assign(e, {state: 'refused', reason, undo: false});
		} else if (step.undoes || e.method === 'DELETE') {
			e.state = 'taken';
		} else {
			e.state = 'sent';
			e.back ??= `${e.path}/${encodeURIComponent(answer.id)}`;
		}
	}

	// forgetPages throws away the pages that were kept for later.
	async function forgetPages() {
		if (!('caches' in self)) return;
		for (const name of await caches.keys()) {
			if (name.startsWith(`${named}-`)) await caches.delete(name);
		}
	}

	// tell lets every page show the queue again.
	function tell() {
		others?.postMessage('changed');
		if (self.document) dispatchEvent(new Event('ripetide-queue'));
	}
	if (self.document && others) others.onmessage = () => dispatchEvent(new Event('ripetide-queue'));

	return {root, named, look, add, undo, dismiss, adopt, setMe, send, pending, forgetPages};
})();
