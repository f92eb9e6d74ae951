// Package outward is the only way by which the service calls an address that somebody else named: a provider to log in
// with, a receiver of webhooks. Such an address must not reach what only this machine or its network can reach.
//
// What is judged is the address that a connection is about to be made to, after the name has been resolved and for
// every connection again. A name that answers differently the second time, a redirect, or an odd spelling of an
// address therefore gains nothing. Time, redirects, headers and bodies are bounded.
//
// The package reads no proxy from the environment: a proxy would resolve names on our behalf. Where all traffic must
// leave by a proxy, that proxy has to refuse inner addresses itself.
package outward
