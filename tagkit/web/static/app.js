// What every page shares. No page asks another host for anything.
"use strict";
