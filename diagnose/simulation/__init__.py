"""Invented bikes drawn from the knowledge, each walked by several policies: what a bike costs until it runs.

`bikes` draws a bike and its complaint, `world` knows what is wrong with it and answers, `moves` does one step on
it, `policies/` choose the steps, `walk` follows one policy through one bike, `study` does it for all of them.
"""
