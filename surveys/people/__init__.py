"""The people of a group: who asks to join, what they are trained for, who must not go alone, whom to ring."""
