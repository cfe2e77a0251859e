// Package pages is the service in a browser: pages for the morning, the row,
// the season, the weather and the books of a farm, rendered on the server, with
// as little script as serves. They use what the API uses and are added to its
// router.
//
// Who is signed in is a session: a cookie whose hash is stored, for a key with
// a name, a role and a farm. Changes are taken from our own pages only. Another
// farm's page is not found.
package pages
