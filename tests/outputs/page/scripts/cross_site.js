// What a page of another origin may try with the cookie of this browser.
async (host) => {
  const one = await fetch(`http://${host}/mark`, {method: 'POST', credentials: 'include',
    mode: 'no-cors', body: '{"mark":"plug-out"}'}).then(r => r.type, e => 'error');
  const two = await fetch(`http://${host}/mark`, {method: 'POST', credentials: 'include',
    headers: {'Content-Type': 'application/json'}, body: '{"mark":"plug-out"}'}).then(r => r.status, e => 'error');
  const three = await fetch(`http://${host}/`, {credentials: 'include'}).then(r => r.text(), e => 'error');
  return [one, two, three];
}
