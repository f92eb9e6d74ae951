// An OpenID Connect provider of other people's making (oidc-provider), to log in with: {"redirect": "…", "verified": true} starts
// one and answers {"issuer", "client_id", "client_secret"}; {"rotate": true} restarts it with other keys at the same address. Its log-in page
// takes any name, which becomes the subject; the e-mail is name@harbour.example.
import http from 'node:http';
import { randomBytes } from 'node:crypto';
import { generateKeyPair, exportJWK } from 'jose';
import { serve } from './lines.mjs';

console.info = console.log = console.warn = console.error; // stdout is for answers
const { default: Provider } = await import('oidc-provider');

let server;
let settings;

async function key() {
  const { privateKey } = await generateKeyPair('RS256', { extractable: true });
  return { ...(await exportJWK(privateKey)), alg: 'RS256', use: 'sig', kid: randomBytes(8).toString('hex') };
}

async function begin(port) {
  server = http.createServer();
  await new Promise((done) => server.listen(port, '127.0.0.1', done));
  const issuer = `http://127.0.0.1:${server.address().port}`;
  const provider = new Provider(issuer, {
    clients: [{ client_id: settings.client_id, client_secret: settings.client_secret, redirect_uris: [settings.redirect], grant_types: ['authorization_code'], response_types: ['code'] }],
    jwks: { keys: [await key()] },
    cookies: { keys: [randomBytes(16).toString('hex')] },
    claims: { openid: ['sub'], email: ['email', 'email_verified'], profile: ['name'] },
    pkce: { required: () => true },
    features: { devInteractions: { enabled: true } },
    findAccount: (_ctx, id) => ({
      accountId: id,
      claims: () => ({ sub: id, email: `${id}@harbour.example`, email_verified: settings.verified, name: `N. ${id}` }),
    }),
  });
  server.on('request', provider.callback());
  return issuer;
}

await serve(async (ask) => {
  if (ask.rotate) {
    const port = server.address().port;
    server.closeAllConnections();
    await new Promise((done) => server.close(done));
    return { issuer: await begin(port) };
  }
  if (ask.stop) {
    server.closeAllConnections();
    server.close();
    return {};
  }
  settings = { client_id: 'house', client_secret: randomBytes(24).toString('base64url'), verified: true, ...ask };
  const issuer = await begin(0);
  return { issuer, client_id: settings.client_id, client_secret: settings.client_secret };
});
process.exit(0);
