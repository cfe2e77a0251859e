// The forms of the row: what they say goes into the queue (queue.js) instead of
// straight to the service, so that it is kept and sent also where there is no
// signal. Without this script they are plain forms.
'use strict';

(() => {
	const {page, kept, day, dayWords, timeWords} = shell;
	const row = document.getElementById('row'); // Null on the list of plantings.
	const api = `/v1/farms/${page.farm}`;
	const farmName = document.querySelector('.top .farm').textContent;
	const STAGES = {bloom_10: 'bloom', bloom_full: 'full bloom', first_ripe: 'first ripe', peak: 'peak', last_pick: 'last pick'};
	const SHOWN = 10 * 60 * 1000; // ms that what was entered last stands under the thumb.
	let readAt = kept ? 0 : Date.now(); // When what is on record was read.

	// Days: what was rendered in the evening is read the next morning.
	function renewDays() {
		for (const button of row?.querySelectorAll('button[data-back]') ?? []) {
			const iso = day(Number(button.dataset.back));
			button.value = `${button.dataset.say} ${iso}`;
			button.querySelector('small').textContent = dayWords(iso);
		}
		for (const input of row?.querySelectorAll('input[type=date]') ?? []) {
			if (input.value === input.max) input.value = day(0);
			input.max = day(0);
		}
	}

	// Each kind of form becomes an entry, or throws what is wrong with it.
	const read = {
		sighting(form, button) {
			const [say, on = form.elements.date.value] = button.value.split(' ');
			needDay(on);
			const {stage} = form.dataset;
			const seen = say === 'seen';
			return {
				key: `sighting ${row.dataset.planting} ${stage} ${seen ? 'seen' : on}`,
				text: seen ? `${STAGES[stage]} seen ${dayWords(on)}` : `looked: ${STAGES[stage]} not yet, ${dayWords(on)}`,
				list: 'sightings',
				body: {planting: row.dataset.planting, date: on, stage, seen},
			};
		},
		picking(form) {
			const on = form.elements.date.value;
			const amount = number(form.elements.amount.value);
			needDay(on);
			const left = form.elements.left.value;
			return {
				key: `picking ${row.dataset.planting} ${on}`,
				text: `picked ${amount} ${form.dataset.unit}, ${dayWords(on)}`,
				list: 'pickings',
				body: {planting: row.dataset.planting, date: on, kg: Math.round(amount * Number(form.dataset.kg) * 1000) / 1000, ...(left && {left})},
				back: `${api}/pickings/${row.dataset.planting}/${on}`,
			};
		},
		frost(form) {
			const on = form.elements.date.value;
			const tenths = Number(form.elements.tenths.value);
			if (!(tenths >= 1)) throw new Error('Choose how many of ten open flowers were lost.');
			needDay(on);
			return {
				key: `frost ${row.dataset.planting} ${on}`,
				text: `frost, ${tenths} in 10 open flowers lost, ${dayWords(on)}`,
				list: 'frosts',
				body: {planting: row.dataset.planting, date: on, share_lost: tenths / 10},
				back: `${api}/frosts/${row.dataset.planting}/${on}`,
			};
		},
		undo(form) {
			const {key, what, path} = form.dataset;
			return {key, text: `taken back: ${what}`, method: 'DELETE', path};
		},
	};
	function needDay(iso) {
		if (!/^\d{4}-\d{2}-\d{2}$/.test(iso)) throw new Error('Choose the day it was.');
		if (iso < row.dataset.from) throw new Error(`${dayWords(iso)}${page.units === 'us' ? ',' : ''} ${iso.slice(0, 4)} is before this season. Earlier ones are entered in the Book.`);
		if (iso > day(0)) throw new Error(`${dayWords(iso)} has not come yet: today is ${dayWords(day(0))}.`);
	}

	// number reads a weight as people write it. "1,200" is twelve hundred at a
	// farm with US units, and is asked about elsewhere.
	function number(typed) {
		let text = typed.replace(/[\s']/g, '');
		if (/^\d{1,3}(,\d{3})+(\.\d*)?$/.test(text)) {
			if (page.units !== 'us') throw new Error(`The weight can be read in two ways: write ${text.replaceAll(',', '')} or ${text.replace(',', '.')}.`);
			text = text.replaceAll(',', '');
		}
		text = text.replace(',', '.');
		if (!/^(\d+\.?\d*|\.\d+)$/.test(text)) throw new Error('The weight is not a number: write it as 120 or 37.5.');
		return Number(text);
	}

	document.addEventListener('submit', async (event) => {
		const form = event.target, button = event.submitter;
		const {entry: kind} = form.dataset;
		if (!kind || !row) return;
		event.preventDefault();
		renewDays();
		form.parentElement.querySelector(':scope > .fault.script')?.remove();
		let entry;
		try {
			entry = read[kind](form, button);
		} catch (error) {
			tellFault(form, error.message);
			return;
		}
		if (button?.value === 'look') {
			look(form, button);
			return;
		}
		if (kind !== 'undo') {
			Object.assign(entry, {method: 'POST', path: `${api}/${entry.list}`});
			const was = [...document.querySelectorAll('#record form')].find((f) => f.dataset.key === entry.key)?.dataset.was;
			if (was) entry.was = JSON.parse(was);
		}
		Object.assign(entry, {
			key: `${page.farm} ${entry.key}`, farm: page.farm, farmName, who: page.who, name: page.name, readAt,
			text: `${row.dataset.name}: ${entry.text}`,
		});
		try {
			await queue.add(entry);
		} catch {
			// This browser keeps nothing: then it is a plain form after all.
			if (!navigator.onLine) {
				tellFault(form, 'It was not recorded: there is no signal, and this browser has no room to keep it until there is. Enter it again where there is a signal.');
				return;
			}
			if (button?.name) {
				const say = document.createElement('input');
				Object.assign(say, {type: 'hidden', name: button.name, value: button.value});
				form.append(say);
			}
			form.submit();
			return;
		}
		if (kind === 'picking') form.elements.amount.value = '';
		navigator.storage?.persist?.().catch(() => { /* Then it is kept as long as there is room. */ });
		shell.sendInBackground();
		shell.send();
	});

	// look asks the service what a frost would change, and records nothing.
	async function look(form, button) {
		const body = new URLSearchParams(new FormData(form));
		body.set('do', 'look');
		button.disabled = true;
		try {
			const reply = await fetch(form.action, {method: 'POST', body, signal: AbortSignal.timeout(20000)});
			const told = new DOMParser().parseFromString(await reply.text(), 'text/html');
			const effect = told.getElementById('effect');
			if (!effect) throw new Error(reply.statusText);
			const fault = told.querySelector('#frost .fault');
			if (fault) tellFault(form, fault.textContent);
			document.getElementById('effect').replaceChildren(...effect.childNodes);
		} catch {
			document.getElementById('effect').replaceChildren();
			tellFault(form, 'What it changes is worked out by the service, and there is no way to it now. The frost can be recorded all the same.');
		} finally {
			button.disabled = false;
		}
	}

	function tellFault(form, text) {
		const fault = document.createElement('p');
		fault.className = 'fault script';
		fault.setAttribute('role', 'alert');
		fault.textContent = text;
		form.before(fault);
	}

	// What was entered on this device.
	const section = document.getElementById('entered');
	const list = section.querySelector('ul');
	const last = document.getElementById('last');
	let shown = ''; // So that nothing is exchanged under a finger.
	async function show() {
		let q;
		try { q = await queue.look(); } catch { return; }
		const mine = q.entries.filter((e) => e.who === page.who).reverse();
		const newest = mine[0];
		const tell = newest && (Date.now() - Math.max(newest.at, newest.doneAt ?? 0) < SHOWN || newest.state === 'refused');
		const now = JSON.stringify([tell, mine.map((e) => [e.id, stateWords(e, q.hold), offer(e)])]);
		if (now === shown) return;
		shown = now;
		const held = document.activeElement; // What is exchanged must not lose the keyboard its place.
		const holder = [list, last].find((place) => place.contains(held));
		section.hidden = mine.length === 0;
		list.replaceChildren(...mine.map((e) => {
			const item = document.createElement('li');
			const words = document.createElement('span');
			const state = document.createElement('span');
			item.className = e.state;
			state.className = 'state';
			state.textContent = stateWords(e, q.hold);
			words.append(what(e), state);
			item.append(words);
			const does = offer(e);
			if (does) item.append(buttonFor(e, does));
			return item;
		}));

		last.hidden = !tell;
		document.body.classList.toggle('told', Boolean(tell));
		if (tell) {
			const says = `${what(newest)}: ${stateWords(newest, q.hold)}`;
			const p = last.querySelector('p');
			if (p.textContent !== says) p.textContent = says; // Told once by screen readers.
			last.className = `last ${newest.state}`;
			const does = offer(newest);
			last.querySelector('button').replaceWith(does ? buttonFor(newest, does) : Object.assign(document.createElement('button'), {hidden: true, type: 'button'}));
		}
		if (holder && !held.isConnected) {
			const again = [...holder.querySelectorAll('button')].find((b) => b.dataset.entry === held.dataset.entry) ?? holder;
			again.focus({preventScroll: true});
		}

		const done = Math.max(0, ...mine.map((e) => e.doneAt ?? 0));
		if (done > readAt) renewRecord();
	}
	// what says what was entered, and at which farm if that is not the one on
	// the page.
	function what(e) {
		return e.farm === page.farm ? capital(e.text) : `${e.farmName}, ${e.text}`;
	}
	function offer(e) {
		if (e.state === 'refused') return 'Dismiss';
		if (e.over || e.undo || e.state === 'taken' || (e.method === 'DELETE' && e.tried)) return '';
		return 'Undo';
	}
	function buttonFor(e, does) {
		const b = document.createElement('button');
		Object.assign(b, {type: 'button', className: 'quiet', textContent: does});
		b.dataset.entry = e.id;
		b.setAttribute('aria-label', `${does}: ${e.text}`);
		b.onclick = async () => {
			if (does === 'Dismiss') {
				await queue.dismiss(e.id);
			} else {
				await queue.undo(e.id);
				shell.sendInBackground();
				shell.send();
			}
		};
		return b;
	}
	function stateWords(e, hold) {
		if (queue.pending(e)) {
			const back = e.undo ? 'taking back, ' : '';
			if (hold === 'sign-in') return `${back}sign in again to send`;
			if (hold === 'service') return `${back}waiting for the service`;
			return navigator.onLine && hold !== 'signal' ? `${back}sending` : `${back}waiting for signal`;
		}
		if (e.state === 'refused') return `refused: ${inWords(e.reason)}`;
		if (e.state === 'taken') return e.method === 'DELETE' ? `done ${timeWords(e.doneAt)}` : `taken back ${timeWords(e.doneAt)}`;
		return `sent ${timeWords(e.doneAt)}${e.over ? ', replaced by a later entry' : ''}`;
	}

	// inWords puts stages and dates of a reason as people say them.
	function inWords(reason) {
		return reason.replace(/\b\d{4}-\d{2}-\d{2}\b/g, dayWords).replace(/\b(bloom_10|bloom_full|first_ripe|last_pick)\b/g, (s) => STAGES[s]);
	}
	function capital(s) { return s[0].toUpperCase() + s.slice(1); }

	// renewRecord reads again what is on record, once something was sent.
	async function renewRecord() {
		if (!row || kept) return;
		readAt = Date.now();
		try {
			const response = await fetch(`${location.pathname}?planting=${encodeURIComponent(row.dataset.planting)}`, {redirect: 'error'});
			if (!response.ok) return;
			const fresh = new DOMParser().parseFromString(await response.text(), 'text/html');
			const record = fresh.getElementById('record');
			if (!record || 'kept' in fresh.body.dataset) return;
			const old = document.getElementById('record');
			if (old.contains(document.activeElement)) { // Not from under somebody's hands.
				old.addEventListener('focusout', () => setTimeout(renewRecord), {once: true});
				return;
			}
			old.replaceWith(document.adoptNode(record));
			// The wire too; the cards stay where they are, under the finger.
			document.querySelector('.which .wire').replaceWith(document.adoptNode(fresh.querySelector('.which .wire')));
		} catch { /* It is read with the next page. */ }
	}

	addEventListener('ripetide-queue', () => { show(); });
	addEventListener('online', show);
	addEventListener('offline', show);
	document.addEventListener('visibilitychange', renewDays);
	addEventListener('pageshow', renewDays);
	renewDays();
	show();
})();
