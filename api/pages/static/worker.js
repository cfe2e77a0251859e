// Answers for the pages where there is no signal, and sends what waits when
// there is one again, even if no page is open then.
//
// Pages come from the network first; without an answer in three seconds from
// the copy that was kept, marked as such, so that its date is shown. What is
// sent (POST) is never kept. When somebody signs in or out, what was kept for
// the one before is thrown away.
'use strict';

const VERSION = 'VERSION_OF_FILES'; // Written in by the service.
const PATIENCE = 3000; // ms
const FRESH = 60 * 60 * 1000; // ms that a page kept ahead is not fetched again.
const MOST = 150; // Copies.

importScripts(`static/queue.js?v=${VERSION}`);

const {root, named} = queue;
const CACHE = `${named}-${VERSION}`;

const STATIC = /^\/static\//;
const PAGES = /^\/f\/[^/]+(\/row|\/season\/\d+)?$/;
const PICTURES = /^\/v1\/farms\/[^/]+\/seasons\/\d+\/overlap\.(svg|png)$/;

// within returns the path at the service of an address, "" of another's.
const within = (url) => url.origin === location.origin && url.pathname.startsWith(`${root}/`) ? url.pathname.slice(root.length) : '';

// since counts how often what was kept was thrown away: an answer that was
// asked for before must not be kept after.
let since = 0;

async function forget() {
	since++;
	await queue.setMe(null);
	await queue.forgetPages();
}

self.addEventListener('install', (event) => event.waitUntil(self.skipWaiting()));

self.addEventListener('activate', (event) => event.waitUntil((async () => {
	for (const name of await caches.keys()) {
		if (name.startsWith(`${named}-`) && name !== CACHE) await caches.delete(name);
	}
	await self.clients.claim();
})()));

self.addEventListener('sync', (event) => event.waitUntil((async () => {
	const stopped = await queue.send();
	if (stopped === 'signal' || stopped === 'service') throw new Error(stopped); // The browser tries again.
})()));

self.addEventListener('message', (event) => event.waitUntil(keepAll(event.data)));

self.addEventListener('fetch', (event) => {
	const {request} = event;
	const url = new URL(request.url);
	const path = within(url);
	if (!path) return;
	if (/^\/sign-(in|out)/.test(path)) {
		event.respondWith(forgetFirst(request));
		return;
	}
	if (request.method !== 'GET') return;
	if (STATIC.test(path)) event.respondWith(unchanging(request));
	else if (mayKeep(url)) event.respondWith(networkFirst(event));
	else if (request.mode === 'navigate') event.respondWith(networkOrHome(request));
});

// forgetFirst throws away what was kept before anybody signs in or out, so that
// it cannot hit what the one who comes next keeps.
async function forgetFirst(request) {
	try { await forget(); } catch { /* There is nothing, or no room for it. */ }
	try { return await fetch(request); } catch {
		if (within(new URL(request.url)) === '/sign-out') return noSignal('Not signed out yet', `There is no signal, so the service has not heard of it.
What was kept of the farm on this device is thrown away. Sign out again when there is a signal. What you entered in the row and was not sent is still here, for when you sign in again.`);
		return nothingKept(request);
	}
}

function mayKeep(url) {
	const path = within(url);
	return !url.searchParams.has('done') && (STATIC.test(path) || PAGES.test(path) || PICTURES.test(path));
}

// unchanging answers for files whose address changes with what is in them.
async function unchanging(request) {
	const cache = await caches.open(CACHE);
	const copy = await cache.match(request);
	if (copy) return copy;
	const response = await fetch(request);
	if (response.ok) await cache.put(request, response.clone());
	return response;
}

async function networkFirst(event) {
	const {request} = event;
	const fresh = fetchAndKeep(request);
	event.waitUntil(fresh.catch(() => { /* Answered from the copy. */ }));
	const late = new Promise((resolve) => { setTimeout(resolve, PATIENCE); });
	try {
		const response = await Promise.race([fresh, late]);
		if (response) return response;
	} catch {
		return await copyOf(request) ?? nothingKept(request);
	}
	return await copyOf(request) ?? fresh.catch(() => nothingKept(request));
}

async function fetchAndKeep(request) {
	const began = since;
	const response = await fetch(request);
	if (response.status === 401) {
		await forget();
	} else if (response.ok && !response.redirected && began === since) {
		const cache = await caches.open(CACHE);
		await cache.put(request.url, response.clone());
		if (began !== since) await forget(); // Signed out meanwhile.
	}
	return response;
}

// copyOf returns the copy of a page, marked as one, or of another that says the
// most of the same: the list of the row for a planting that was not kept.
async function copyOf(request) {
	const cache = await caches.open(CACHE);
	let copy = await cache.match(request.url);
	const url = new URL(request.url);
	if (!copy && /\/row$/.test(url.pathname)) copy = await cache.match(url.origin + url.pathname);
	if (!copy || !copy.headers.get('Content-Type')?.startsWith('text/html')) return copy;
	const headers = new Headers(copy.headers);
	headers.delete('Content-Length');
	headers.delete('Content-Encoding');
	const text = await copy.text();
	return new Response(text.replace('<body', '<body data-kept'), {status: copy.status, headers});
}

// networkOrHome answers for pages that are not kept. The first page leads to
// the farm that was looked at last.
async function networkOrHome(request) {
	try {
		return await fetch(request);
	} catch {
		if (within(new URL(request.url)) === '/') {
			const cache = await caches.open(CACHE);
			const home = (await cache.keys()).findLast((k) => /^\/f\/[^/]+$/.test(within(new URL(k.url))));
			if (home) return Response.redirect(home.url);
		}
		return nothingKept(request);
	}
}

function nothingKept(request) {
	if (request.mode !== 'navigate') return Response.error();
	return noSignal('No signal', 'No copy of this page is kept on this device. What you entered in the row is kept, and is sent when there is a signal.');
}

function noSignal(heading, text) {
	return new Response(`<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<meta name="color-scheme" content="light dark"><title>${heading}</title><link rel="stylesheet" href="${root}/static/style.css?v=${VERSION}">
<main><h1>${heading}</h1><p>${text}</p>
<p><a href="${root}/">To the first page</a></p></main>`, {status: 503, headers: {
		'Content-Type': 'text/html; charset=utf-8', 'Content-Security-Policy': "default-src 'none'; style-src 'self'",
	}});
}

// keepAll keeps what a page is made of, and the pages it leads to unless that
// was done a short while ago.
async function keepAll({keep = [], ahead = []}) {
	const cache = await caches.open(CACHE);
	for (const [urls, age] of [[keep, Infinity], [ahead, FRESH]]) {
		for (const address of urls) {
			const url = new URL(address);
			if (!mayKeep(url)) continue;
			const copy = await cache.match(address);
			if (copy && Date.now() - Date.parse(copy.headers.get('Date')) < age) continue;
			try {
				// Not followed: whoever is sent to the sign-in page gets no copy.
				const response = await fetchAndKeep(new Request(address, {redirect: 'manual', credentials: 'same-origin'}));
				if (response.type === 'opaqueredirect') return;
			} catch {
				return;
			}
		}
	}
	const all = await cache.keys();
	for (const old of all.slice(0, Math.max(0, all.length - MOST))) await cache.delete(old);
}
