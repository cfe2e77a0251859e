// Every page: keep a copy for where there is no signal, and send what waits.
'use strict';

const shell = (() => {
	const page = document.body.dataset; // farm, zone, units, who, name, made: see layout.html.
	const kept = 'kept' in page; // A copy, shown by worker.js without a signal.
	const WEEKDAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'];
	const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];

	// The clock of a phone may be wrong, and "today" is the farm's: each fresh
	// page says what time it is, and the difference is kept.
	const how = performance.getEntriesByType('navigation')[0]?.type;
	if (page.made && !kept && how !== 'back_forward') {
		remember(`${queue.named}-clock`, String(Number(page.made) - Date.now()));
	}

	// Browsers keep a page that is left, for the way back. It must not show again
	// once its reader has signed out.
	if (page.who) remember(`${queue.named}-who`, page.who);
	addEventListener('pageshow', (event) => {
		if (!event.persisted || !page.who || remembered(`${queue.named}-who`) === page.who) return;
		document.body.hidden = true;
		location.reload();
	});
	function remember(name, value) {
		try { localStorage.setItem(name, value); } catch { /* Then the phone's clock counts. */ }
	}
	function remembered(name) {
		try { return localStorage.getItem(name); } catch { return null; }
	}

	// parts returns a moment (ms of this device's clock) at the farm.
	function parts(ms) {
		const at = new Date(ms + Number(remembered(`${queue.named}-clock`) ?? 0));
		const format = new Intl.DateTimeFormat('en-US', {
			timeZone: page.zone, year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit', hourCycle: 'h23',
		});
		return Object.fromEntries(format.formatToParts(at).map((p) => [p.type, p.value]));
	}

	// day returns the farm's date so many days ago, as YYYY-MM-DD.
	function day(back) {
		const p = parts(Date.now());
		const d = new Date(Date.UTC(Number(p.year), Number(p.month) - 1, Number(p.day) - back));
		return d.toISOString().slice(0, 10);
	}

	// dayWords writes a date as the pages do: "Mon 11 Jun", "Mon Jun 11".
	function dayWords(iso) {
		const d = new Date(iso + 'T00:00:00Z');
		const date = [d.getUTCDate(), MONTHS[d.getUTCMonth()]];
		if (page.units === 'us') date.reverse();
		return [WEEKDAYS[d.getUTCDay()], ...date].join(' ');
	}

	// timeWords writes a moment as the time at the farm, with the day if that
	// is not today.
	function timeWords(ms) {
		const p = parts(ms);
		const iso = `${p.year}-${p.month}-${p.day}`;
		return `${iso === day(0) ? '' : dayWords(iso) + ' '}${p.hour}:${p.minute}`;
	}

	// The line on top: what waits, and for what.
	const line = document.getElementById('signal');
	let shown = ''; // So that nothing is exchanged under a finger.
	async function show() {
		if (!page.farm || !line) return;
		let q;
		try { q = await queue.look(); } catch { return; } // Said where it matters: when something is entered.
		const mine = q.entries.filter((e) => queue.pending(e) && e.who === page.who).length;
		const refused = q.entries.filter((e) => e.state === 'refused' && e.who === page.who).length;
		const strangers = q.entries.filter((e) => queue.pending(e) && e.who !== page.who);
		const state = JSON.stringify([mine, refused, strangers.length, q.hold, navigator.onLine]);
		if (state === shown) return;
		shown = state;
		const says = [];
		if (mine > 0) {
			const wait = {'sign-in': 'sign in again to send', 'service': 'waiting for the service'}[q.hold];
			says.push(link(`${wait ?? (navigator.onLine && q.hold !== 'signal' ? 'sending' : 'waiting for signal')} (${mine})`,
				q.hold === 'sign-in' ? `${queue.root}/sign-in?back=${encodeURIComponent(location.pathname + location.search)}` : `${queue.root}/f/${page.farm}/row#entered`));
		}
		if (refused > 0) says.push(link(`refused (${refused})`, `${queue.root}/f/${page.farm}/row#entered`));
		if (strangers.length > 0) {
			const names = [...new Set(strangers.map((e) => e.name))].join(', ');
			const take = document.createElement('button');
			take.type = 'button';
			take.className = 'quiet';
			take.textContent = `Send as ${page.name}`;
			take.onclick = async () => { await queue.adopt(); send(); };
			const span = document.createElement('span');
			span.append(`${strangers.length} entered by ${names}, not sent yet: sent when they sign in here. `, take);
			says.push(span);
		}
		line.hidden = says.length === 0;
		line.replaceChildren(...says);
	}
	function link(text, to) {
		const a = document.createElement('a');
		a.href = to;
		a.textContent = text[0].toUpperCase() + text.slice(1);
		return a;
	}

	// send sends what waits now, and again later for as long as something does.
	let timer = 0, wait = 0;
	async function send() {
		if (!page.farm) return;
		clearTimeout(timer);
		let stopped;
		try { stopped = await queue.send(); } catch { stopped = 'signal'; }
		show();
		if (stopped === '' || stopped === 'sign-in') {
			wait = 0;
			return;
		}
		wait = Math.min(Math.max(wait * 2, 15), 300); // s
		timer = setTimeout(send, wait * 1000);
	}

	// sendInBackground asks the browser to send when there is a signal again,
	// even if no page is open then. Not all can.
	async function sendInBackground() {
		try {
			const registration = await navigator.serviceWorker?.getRegistration();
			await registration?.sync?.register('ripetide-send');
		} catch { /* Sent when a page is open. */ }
	}

	// Keep this page, what it is made of, the last forecast (the morning and the
	// season), and the pages of the row that it leads to.
	async function keep() {
		if (!('serviceWorker' in navigator)) return;
		await navigator.serviceWorker.register(`${queue.root}/worker.js`, {scope: `${queue.root}/`});
		const registration = await navigator.serviceWorker.ready;
		if (!page.farm || kept) return;
		const files = [location.href];
		for (const x of document.querySelectorAll('link[rel=stylesheet], link[rel=icon], script[src]')) files.push(x.href || x.src);
		for (const x of document.images) if (x.currentSrc) files.push(x.currentSrc);
		const ahead = [`${queue.root}/f/${page.farm}`];
		for (const a of document.querySelectorAll('.top nav a[href*="/season/"]')) ahead.push(a.href);
		if (page.row !== undefined) ahead.push(`${queue.root}/f/${page.farm}/row`);
		for (const a of document.querySelectorAll('a[href*="/row?planting="]')) ahead.push(a.href);
		registration.active?.postMessage({keep: files, ahead: [...new Set(ahead.map((u) => new URL(u, location.href).href))]});
	}

	async function begin() {
		addEventListener('ripetide-queue', show);
		addEventListener('offline', show);
		addEventListener('online', send);
		document.addEventListener('visibilitychange', () => { if (!document.hidden) send(); });
		if (!kept) await queue.setMe({id: page.who, name: page.name});
		await show();
		await send();
	}

	// Nobody is signed in on the sign-in page: what is kept of others goes.
	// worker.js sees to that too, where it answers already.
	async function forget() {
		if (remembered(`${queue.named}-clock`) === null) return; // Nobody ever was.
		remember(`${queue.named}-who`, '');
		await queue.setMe(null);
		await queue.forgetPages();
	}

	addEventListener('load', () => {
		// What fails here is tried again by the next page.
		keep().catch(() => {});
		navigator.serviceWorker?.addEventListener('controllerchange', () => keep().catch(() => {})); // A new version keeps its own copies.
		if (page.farm) begin().catch(() => {});
		else if (location.pathname.startsWith(`${queue.root}/sign-in`)) forget().catch(() => {});
	});

	return {page, kept, day, dayWords, timeWords, show, send, sendInBackground};
})();
