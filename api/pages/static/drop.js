// A weather file: dropped or chosen, shown, its questions answered, kept. The
// file stays in the browser in between and is sent anew each time; the answer is
// the page that a form without a script would get, of which one part is shown.
'use strict';

(() => {
	const drop = document.getElementById('drop');
	if (!drop) return;
	const input = document.getElementById('file');
	const sending = document.getElementById('sending');
	const bar = sending.querySelector('progress');
	const words = sending.querySelector('span');
	const MOST = 32 * 1024 * 1024; // Bytes; the service has the same limit.
	let file = null; // The one that is shown.
	let busy = false;

	function place() {
		let result = document.getElementById('result');
		if (!result) {
			result = document.createElement('div');
			result.id = 'result';
			drop.before(result);
		}
		return result;
	}

	function show(result) {
		drop.querySelector('button').classList.add('quiet'); // What leads on now is in the result.
		for (const again of result.querySelectorAll('.again')) again.remove(); // The file is here.
		place().replaceWith(result);
		// What the page said of the record is out of date.
		if ('kept' in result.dataset) document.getElementById('main').classList.add('past');
		const heading = result.querySelector('h2');
		if (heading) {
			heading.focus();
			heading.scrollIntoView({block: 'nearest'});
		}
	}

	function say(text) {
		const result = document.createElement('div');
		result.id = 'result';
		result.className = 'result';
		const heading = document.createElement('h2');
		heading.tabIndex = -1;
		heading.textContent = 'Not taken';
		const fault = document.createElement('p');
		fault.className = 'fault';
		fault.setAttribute('role', 'alert');
		fault.textContent = text;
		result.append(heading, fault);
		show(result);
	}

	function progress(text, share) {
		sending.hidden = text === '';
		words.textContent = text;
		if (share === null) bar.removeAttribute('value');
		else bar.value = share;
	}

	// send sends a form with the file and shows the answer.
	function send(data) {
		if (busy || !file) return;
		if (file.size > MOST) {
			say(`${file.name} has more than 32 MiB. Send it in parts, year by year. Nothing was kept.`);
			return;
		}
		busy = true;
		data.set('file', file, file.name);
		const request = new XMLHttpRequest();
		request.open('POST', drop.action);
		request.responseType = 'document';
		request.upload.onprogress = (event) => {
			const share = event.lengthComputable ? Math.round(100 * event.loaded / event.total) : null;
			if (share === 100) progress('Sent. It is being read…', null);
			else progress(share === null ? 'Sending…' : `Sending, ${share} %`, share);
		};
		request.upload.onload = () => progress('Sent. It is being read…', null);
		const end = () => {
			busy = false;
			progress('', 0);
		};
		request.onload = () => {
			end();
			if (new URL(request.responseURL).pathname.startsWith(`${queue.root}/sign-in`)) {
				location.href = request.responseURL;
				return;
			}
			const result = request.response?.getElementById('result');
			const said = request.response?.querySelector('main p')?.textContent;
			if (result) show(document.importNode(result, true));
			else say(`The service did not take it (${request.status}). ${said ?? ''}`);
		};
		request.onerror = () => {
			end();
			say('It could not be sent: there is no signal, or the file has changed since it was chosen. Choose it again.');
		};
		progress('Sending…', 0);
		request.send(data);
	}

	function take(list) {
		if (busy || list.length === 0) return;
		if (list.length > 1) {
			say('One file at a time, please: each is looked at by itself.');
			return;
		}
		file = list[0];
		const data = new FormData();
		data.set('do', 'look');
		send(data);
	}

	input.addEventListener('change', () => take(input.files));
	drop.addEventListener('submit', (event) => {
		if (input.files.length === 0) return;
		event.preventDefault();
		take(input.files);
	});
	// Answers and "Keep these days", in whatever part is shown. Without the file
	// at hand the form goes as it is, with the file that it asks for.
	document.addEventListener('submit', (event) => {
		const form = event.target;
		if (!file || !form.closest('#result') || form.querySelector('input[type=file]')) return;
		event.preventDefault();
		send(new FormData(form, event.submitter));
	});
	// Anywhere on the page, so that a file that misses does not open instead.
	let over = 0;
	const files = (event) => event.dataTransfer?.types.includes('Files');
	addEventListener('dragenter', (event) => {
		if (!files(event)) return;
		event.preventDefault();
		over++;
		drop.classList.add('over');
	});
	addEventListener('dragleave', (event) => {
		if (!files(event)) return;
		over = Math.max(0, over - 1);
		if (over === 0) drop.classList.remove('over');
	});
	addEventListener('dragover', (event) => {
		if (files(event)) event.preventDefault();
	});
	addEventListener('drop', (event) => {
		if (!files(event)) return;
		event.preventDefault();
		over = 0;
		drop.classList.remove('over');
		take(event.dataTransfer.files);
	});
})();
