// Which block of IANA's special-purpose registries each address lies in ("unicast": none): {"addresses": [...]} in, {"ranges": [...]} out.
import ipaddr from 'ipaddr.js';
import { serve } from './lines.mjs';

await serve(({ addresses }) => ({ ranges: addresses.map((a) => ipaddr.process(a).range()) }));
